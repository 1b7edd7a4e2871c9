"""The same question of another boat: what is drawn stays drawn, and only the change is added."""
