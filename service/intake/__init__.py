"""Bringing in files: trees, areas and targets."""
