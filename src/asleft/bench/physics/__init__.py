"""What a simulated car is made of: air, plate, crank, heat, current, chassis. Step functions of time; no clock, no I/O.

Each file holds one part as a small class of plain floats with a ``step`` that returns what flowed, so that balances
can be checked from outside. Noise comes from a seeded stream, never from the machine.

Not modelled: single firings and cylinders (roughness is noise on the mean torque, a misfire a share of it), waves and
heat exchange in the manifold, pressure above the outside (no charger), air humidity, fuel films, knock, exhaust gas
recirculation, oil apart from the coolant, state of charge and age of the battery's chemistry, wiring apart from one
resistance, tyre slip along the road and its limits across it (the bicycle model is linear), roll and pitch of the body,
banked roads, wheels that lock.
"""
