"""What a person decides, written into corrections.yaml."""
