"""Engine files, the geometry of chain and belt drives, and what each fault does to the cams."""
