"""The report pages and their templates."""
