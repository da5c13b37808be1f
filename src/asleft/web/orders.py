"""The form that opens a job. Pure."""

from __future__ import annotations

from starlette.datastructures import FormData

#: Field -> its words and the longest text it takes.
FIELDS = {
    "vin": ("VIN", 24),
    "make": ("make", 40),
    "model": ("model", 40),
    "year": ("year", 4),
    "order": ("what the customer says", 200),
}


def read_form(form: FormData) -> tuple[dict[str, str], list[str], str]:
    """What was filled in, the work items chosen, and why it cannot be used (empty when it can)."""
    filled = {name: str(form.get(name, "")).strip() for name in FIELDS}
    items = [str(item) for item in form.getlist("work_items")]
    return filled, items, _problem(filled, items)


def _problem(filled: dict[str, str], items: list[str]) -> str:
    for name, (words, longest) in FIELDS.items():
        if len(filled[name]) > longest:
            return f"{words}: at most {longest} characters. Nothing was stored."
    year = filled["year"]
    if year and not (len(year) == 4 and year.isascii() and year.isdigit()):
        return "The year has four digits, or stays empty. Nothing was stored."
    if not items:
        return "Choose what was done or will be done to the car. Nothing was stored."
    return ""
