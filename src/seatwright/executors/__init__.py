"""Executors: where cues are rendered. One in turn, in processes of this machine, on a cluster."""
