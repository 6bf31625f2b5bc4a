"""Compiled inner loops of the solver: material, assembly, arrow system, moments, events, steps."""
