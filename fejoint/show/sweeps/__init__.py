"""What is shown of a sweep."""
