"""The report of a job, and the page that asks for a photo."""
