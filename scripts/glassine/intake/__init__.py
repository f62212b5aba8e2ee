"""Which files belong to which item, and what is known of each before a pixel is read."""
