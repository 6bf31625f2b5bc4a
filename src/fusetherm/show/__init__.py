"""Figures: what a person looks at before believing a number."""
