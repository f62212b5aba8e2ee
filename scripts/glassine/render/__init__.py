"""Pictures: one decode, one resampling, tone, sizes, tiles, quality measures."""
