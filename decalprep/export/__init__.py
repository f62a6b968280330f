"""Drawing lists to PDF, cut files and pictures."""
