"""Rehearsals: what happens in the seconds after an event, simulated exactly from one event to the next."""
