"""Bags of packages, read again and validated, with a receipt."""
