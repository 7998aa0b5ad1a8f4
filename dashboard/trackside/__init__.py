"""The page Log: a run or a charge written down beside the track, on a phone, also while the program cannot be reached."""
