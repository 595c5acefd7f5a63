"""The ground floor: sources and spans, diagnostics, dimensions, units, types, exact numbers."""
