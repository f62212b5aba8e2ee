"""What every room stands on: files, settings, names, dates, records. Imports no other room."""
