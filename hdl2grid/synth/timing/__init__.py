"""Rounds, levels and buffers: every stack is fed in one round of a wave."""
