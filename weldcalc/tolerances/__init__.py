"""Scatter in, results out: sampled pulses, stand-in, sensitivities, allowed drift."""
