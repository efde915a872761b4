"""Pages and files of the reports, saved reports, and files made beside the requests."""
