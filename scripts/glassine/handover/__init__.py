"""What a collections system is handed back: what changed of a batch since it was told last."""
