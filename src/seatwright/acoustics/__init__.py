"""What follows from the stage: reflections, air, tail, head, impulse responses, figures."""
