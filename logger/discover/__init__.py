"""Ports and buses: what is there, and which protocol it speaks."""
