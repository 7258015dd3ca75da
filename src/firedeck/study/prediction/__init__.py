"""Joints predicted before there is a print: clamp, margins, order of giving way, the print to come."""
