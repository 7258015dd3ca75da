"""What holds the joint: fasteners, tightening and preload."""
