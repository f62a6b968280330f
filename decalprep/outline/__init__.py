"""What the knife follows: outlines, holes, bleed, masks, underlay."""
