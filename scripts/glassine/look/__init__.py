"""What is seen of an item's negatives, kept for the pooling of films."""
