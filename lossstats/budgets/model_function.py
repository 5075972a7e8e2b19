"""A measurement model: any Python function of named inputs, called at one point or at many, never evaluated as text."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.source import Source
from lossstats.records.argument_checks import refuse

Array = NDArray[np.float64]
_RESULTS = "a number, or numbers as dict, tuple, list or array of one dimension"


class ModelFunction:
    """A model with its input and output names, ready to be called by position.

    Parameters
    ----------
    function : callable
        Called as ``function(**{name: value})``; gives one number, or several as dict, tuple, list or array.
    values : mapping of str to float
        One value for each input, where the model is called first.

    Attributes
    ----------
    names : tuple of str
        Input names, in the order given.
    outputs : tuple of str
        Output names: keys of a dict, fields of a named tuple, else ``output 1`` and so on; ``result`` for one number.
    first : tuple of float
        What the model gives at `values`.
    single : bool
        Whether the model gives a number by itself.
    takes_arrays : bool
        False once the model has failed on arrays or given other numbers for them; it is then called one by one.

    Raises
    ------
    ValueError
        If the inputs are not those of the function, or the model fails at `values`; the text names the values.
    """

    def __init__(self, function: Callable[..., Any], values: Mapping[str, float]) -> None:
        if not callable(function):
            refuse("model", function, "a Python function of the inputs by name; text is never evaluated")
        self.names = tuple(values)
        self._function = function
        self.takes_arrays = True
        try:
            raw = self._call(dict(values))
        except ValueError as error:
            if isinstance(error.__cause__, TypeError):  # perhaps it was called by names that it does not have
                _check_names(function, values)
            raise
        self.single = not isinstance(raw, Mapping | Sequence) and np.ndim(raw) == 0
        self.outputs, self.first = self._finite(raw, dict(values))

    def at(self, values: Mapping[str, float]) -> tuple[float, ...]:
        """Call the model at one point.

        Parameters
        ----------
        values : mapping of str to float
            One value for each input.

        Returns
        -------
        tuple of float
            One number for each output.

        Raises
        ------
        ValueError
            If the model raises, or gives what is not a finite number; the text names the values.
        """
        outputs, numbers = self._finite(self._call(dict(values)), values)
        if outputs != self.outputs:
            refuse("model", outputs, f"the same outputs at every point, {', '.join(self.outputs)}{_where(values)}")
        return numbers

    def many(self, points: Array) -> Array:
        """Call the model at many points: with arrays if it takes them, else one after the other.

        Parameters
        ----------
        points : numpy.ndarray
            Shape (inputs, points).

        Returns
        -------
        numpy.ndarray
            Shape (outputs, points); nan where the model raises or gives no finite number.

        Notes
        -----
        What the model gives for arrays is believed only if its first and last number are what it gives there by
        itself, so that a model which takes a mean or a sum over its inputs is called point by point.
        """
        if self.takes_arrays and points.shape[1] > 2:
            found = self._with_arrays(points)
            if found is not None:
                return found
            self.takes_arrays = False
        return np.column_stack([self._one(points[:, i]) for i in range(points.shape[1])])

    def with_columns(self, columns: Sequence[Array]) -> Array | None:
        """Call a model of one number with one array for each input, and believe what it gives.

        Parameters
        ----------
        columns : sequence of numpy.ndarray
            One array for each input, all of shape (points,).

        Returns
        -------
        numpy.ndarray or None
            Of the same shape; None where the model raises or gives something else.

        Notes
        -----
        `many` checks what comes back and silences floating-point warnings; here the caller does both.
        """
        try:
            found = np.asarray(self._function(**dict(zip(self.names, columns, strict=True))), dtype=float)
        except Exception:  # noqa: BLE001 (a model may raise anything; called by itself it tells what and where)
            return None
        return found if found.shape == columns[0].shape else None

    def with_numbers(self, point: Mapping[str, float]) -> float:
        """Call a model of one number at one point, without words where it fails.

        Parameters
        ----------
        point : mapping of str to float
            One value for each input.

        Returns
        -------
        float
            What the model gives; nan where it raises.
        """
        try:
            return float(self._function(**point))
        except Exception:  # noqa: BLE001 (as above)
            return math.nan

    def _call(self, values: dict[str, Any]) -> Any:
        try:
            with np.errstate(all="ignore"):
                return self._function(**values)
        except Exception as error:
            raise ValueError(
                f"model: raised {type(error).__name__}: {error}; accepted: a model that gives numbers{_where(values)}"
            ) from error

    def _finite(self, raw: Any, values: Mapping[str, float]) -> tuple[tuple[str, ...], tuple[float, ...]]:
        outputs, items = _taken_apart(raw)
        numbers = []
        for item in items:
            try:
                number = float(item)
            except (TypeError, ValueError):
                refuse("model", item, f"{_RESULTS}{_where(values)}")
            if not np.isfinite(number):
                refuse("model", number, f"finite numbers{_where(values)}")
            numbers.append(number)
        if not numbers:
            refuse("model", raw, f"{_RESULTS}{_where(values)}")
        return outputs, tuple(numbers)

    def _one(self, point: Array) -> Array:
        try:
            return np.array(self.at(dict(zip(self.names, point.tolist(), strict=True))))
        except ValueError:
            return np.full(len(self.outputs), np.nan)

    def _with_arrays(self, points: Array) -> Array | None:
        """What the model gives for arrays, or None where it does not take them as it takes numbers."""
        number = points.shape[1]
        try:
            raw = self._call(dict(zip(self.names, points.copy(), strict=True)))  # a copy: a model may write into it
            outputs, items = (self.outputs, [raw]) if self.single else _taken_apart(raw)
            found = np.empty((len(items), number))
            for row, item in zip(found, items, strict=True):
                row[:] = np.broadcast_to(np.asarray(item, dtype=float), (number,))
        except (TypeError, ValueError):
            return None
        if outputs != self.outputs:
            return None
        bad = ~np.isfinite(found)
        if bad.any():
            found[bad] = np.nan
        alike = all(_alike(found[:, i].tolist(), self._one(points[:, i]).tolist()) for i in (0, number - 1))
        return found if alike else None


def check_units(inputs: Mapping[str, Source], units: Mapping[str, str]) -> None:
    """Refuse inputs that are not in the units that the model takes.

    Parameters
    ----------
    inputs : mapping of str to Source
        The inputs by name.
    units : mapping of str to str
        Unit that the model takes, by name of the input; inputs that are left out are not checked.

    Raises
    ------
    ValueError
        If a unit differs, or a name is not an input. No unit and "1" are the same; nothing is converted.
    """
    for name, wanted in units.items():
        if name not in inputs:
            refuse("units", name, f"one of the inputs {', '.join(inputs)}")
        if _bare(inputs[name].unit) != _bare(wanted):
            refuse(f"inputs[{name!r}].unit", inputs[name].unit, f"{wanted!r}, the unit that the model takes")


def check_inputs(inputs: Mapping[str, Source]) -> None:
    """Refuse inputs that are not sources by name.

    Parameters
    ----------
    inputs : mapping of str to Source
        The inputs by name.

    Raises
    ------
    ValueError
        If there are none, or one is no Source.
    """
    if not isinstance(inputs, Mapping) or not inputs:
        refuse("inputs", inputs, "a Source for each input by name, such as {'torque': Source.normal(0.1, value=3)}")
    for name, source in inputs.items():
        if not isinstance(source, Source):
            refuse(f"inputs[{name!r}]", source, "a Source, such as Source.normal(0.1, value=3)")


def _bare(unit: str) -> str:
    joined = " ".join(unit.split())
    return "" if joined == "1" else joined


def _check_names(function: Callable[..., Any], values: Mapping[str, float]) -> None:
    """The inputs must be the parameters of the function; those with a default may be left out."""
    try:
        parameters = inspect.signature(function).parameters
    except (TypeError, ValueError):  # a function of C without a signature: its own call will tell
        return
    named = {n: p for n, p in parameters.items() if p.kind in (p.POSITIONAL_OR_KEYWORD, p.KEYWORD_ONLY)}
    takes_any = any(p.kind is p.VAR_KEYWORD for p in parameters.values())
    accepted = f"the parameters of the model, {', '.join(named) or 'of which there are none by name'}"
    for name in values:
        if name not in named and not takes_any:
            refuse("inputs", name, accepted)
    missing = [n for n, p in named.items() if p.default is p.empty and n not in values]
    if missing:
        raise ValueError(f"inputs: found none for {', '.join(missing)}; accepted: one for each of {accepted}")


def _taken_apart(raw: Any) -> tuple[tuple[str, ...], list[Any]]:
    """Names and values of the outputs."""
    if isinstance(raw, Mapping):
        return tuple(str(key) for key in raw), list(raw.values())
    if isinstance(raw, tuple | list) or (isinstance(raw, np.ndarray) and raw.ndim > 0):
        names = getattr(raw, "_fields", None) or [f"output {i + 1}" for i in range(len(raw))]
        return tuple(names), list(raw)
    return ("result",), [raw]


def _alike(first: list[float], second: list[float]) -> bool:
    """Whether two lists of numbers are the same but for the last digits; nan is like nan."""
    return all(abs(a - b) <= 1e-9 * abs(b) or (a != a and b != b) for a, b in zip(first, second, strict=True))  # noqa: PLR0124


def _where(values: Mapping[str, Any]) -> str:
    def one(value: Any) -> str:
        return f"{value:.6g}" if isinstance(value, float | int) else f"{np.shape(value)} array"

    return " at " + ", ".join(f"{name} = {one(value)}" for name, value in values.items())
