"""What is written down: hall, surfaces, instruments, microphones, seats, scene."""
