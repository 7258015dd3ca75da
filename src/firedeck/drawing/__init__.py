"""Pictures of plans, maps, strips and curves."""
