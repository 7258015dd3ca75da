"""What the cylinders press with: from a trace, the cycle model or the rule."""
