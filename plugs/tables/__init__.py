"""Tables read and written: cells of a CSV file, offsets of stations, rows."""
