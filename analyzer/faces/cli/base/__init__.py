"""What the commands share: their options, the files they find, the terminal they speak to."""
