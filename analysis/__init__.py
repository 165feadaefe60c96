"""What a capture says about a job: exchanges, operations, verdict, report."""
