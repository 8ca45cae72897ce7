"""For people: tables and diaries."""
