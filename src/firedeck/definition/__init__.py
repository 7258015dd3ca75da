"""What a joint, gasket, film, test and set of criteria are: frozen models read from text."""
