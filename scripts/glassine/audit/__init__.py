"""Masters, results and deliveries that are read again, night by night, and compared."""
