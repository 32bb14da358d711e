"""What is kept beside the journal so that it need not be reckoned again; all of it may be deleted."""
