"""The instruments of the simulated bench: SCPI on the outside, the circuit inside."""
