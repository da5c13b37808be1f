"""What a simulated car is made of: air, plate, crank, heat, current. Step functions of time; no clock, no I/O.

Each file holds one part as a small class of plain floats with a ``step`` that returns what flowed, so that balances
can be checked from outside. Noise comes from a seeded stream, never from the machine.
"""
