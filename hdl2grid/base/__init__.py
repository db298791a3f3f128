"""What every room may use and that uses no room: errors, files, targets, random numbers, processes."""
