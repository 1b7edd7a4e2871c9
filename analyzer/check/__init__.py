"""What arrives, what is wired wrong, what the boat file says, what can be answered."""
