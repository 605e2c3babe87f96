"""What several folders of tests share."""
