"""From a pressure map to what each seal carries and where it would leak."""
