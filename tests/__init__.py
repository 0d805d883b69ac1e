"""The rings of tests."""
