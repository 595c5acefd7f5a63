"""The check language: grammar, typed nodes, checker, printer, functions, evaluations."""
