"""What is kept of recordings between calls: the store in the user's cache folder, and digests already known."""
