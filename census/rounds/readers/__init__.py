"""Files that people bring: filled count sheets, decisions."""
