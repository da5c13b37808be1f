"""The bench cars by name, loaded on use."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, cast

from asleft.model.errors import Code, InputError

from .car import BenchCar
from .car_file import SUFFIX, read_car_file, set_up

#: Name -> "module:attribute" of a callable that makes the car from ``seed`` and further options.
CARS: dict[str, str] = {
    "petrol": "asleft.bench.cars.petrol:PetrolCar",
    "cable": "asleft.bench.cars.cable:CableCar",
    "estate": "asleft.bench.cars.estate:EstateCar",
    "diesel": "asleft.bench.cars.diesel:DieselCar",
    "electric": "asleft.bench.cars.electric:ElectricCar",
}


def make_car(name: str, seed: int = 0, options: Mapping[str, Any] | None = None) -> BenchCar:
    """A new car.

    Args: name: one of `CARS`, or the path of a bench-car file (`car_file`). seed: which car of its kind; not looked
        at where a file says it. options: further arguments of the car, by name.
    Raises: InputError: unknown car or option, or a file that cannot be used; the message lists what there is.
    """
    if name.endswith(SUFFIX):
        path = Path(name)
        content = read_car_file(path)
        car = make_car(content.car, content.seed, {**content.options, **(options or {})})
        set_up(path, content, car)
        return car
    if name not in CARS:
        raise InputError(Code.ACT_UNKNOWN, f"no bench car {name!r}; there are {', '.join(CARS)}")
    module, _, attribute = CARS[name].partition(":")
    factory = cast("Callable[..., BenchCar]", getattr(importlib.import_module(module), attribute))
    arguments = {"seed": seed, **(options or {})}
    try:
        inspect.signature(factory).bind(**arguments)
    except TypeError as error:
        raise InputError(Code.ACT_UNKNOWN, f"{name}{inspect.signature(factory)}: {error}") from error
    return factory(**arguments)
