"""Files that people take away: count sheets to print or fill."""
