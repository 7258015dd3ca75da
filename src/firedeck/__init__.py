"""firedeck: from the print of a head gasket to a verdict for every seal."""

__version__ = "0.1.0"
