"""Makers of pictures, batches, records and results that the tests share."""
