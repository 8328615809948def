"""What goes out before and during the season: an empty trial folder, a workbook to type into, and sheets to print."""
