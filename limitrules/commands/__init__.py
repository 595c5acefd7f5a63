"""Commands of the command line, one module each where they are more than a few lines."""
