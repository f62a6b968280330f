"""Files to Artwork and PartFace."""
