"""What is printed round the decals, and the calibration page."""
