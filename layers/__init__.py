"""What is computed and what is drawn: pure functions on frames."""
