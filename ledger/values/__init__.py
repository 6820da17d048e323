"""What everyone speaks: frozen values, standard library only, no input or output."""
