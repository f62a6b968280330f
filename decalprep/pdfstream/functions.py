"""PDF functions of one or more inputs (ISO 32000-1:2008, 7.10): types 0, 2, 3 and 4."""

import math
from collections.abc import Callable, Sequence
from typing import Any

import pikepdf

from decalprep.pdfstream.tokens import operands

Numbers = list[float]


def evaluate(function: Any, inputs: Sequence[float]) -> Numbers:
    """The function's values.

    Does not interpolate between samples of a multi-input type 0: the nearest sample is taken.

    Raises:
        ValueError: malformed, or of a kind it does not know.
    """
    try:
        if isinstance(function, pikepdf.Array):
            return [value for part in function.as_list() for value in evaluate(part, inputs)]
        clipped = _clip(inputs, function.get("/Domain"))
        kind = int(function["/FunctionType"])
        table: dict[int, Callable[[Any, Numbers], Numbers]] = {
            0: _sampled,
            2: _exponential,
            3: _stitched,
            4: _calculated,
        }
        return _clip(table[kind](function, clipped), function.get("/Range"))
    except RecursionError:
        raise ValueError("function contains itself") from None
    except (KeyError, IndexError, TypeError, ZeroDivisionError, OverflowError) as problem:
        raise ValueError(f"function cannot be evaluated: {problem!r}") from problem


def _floats(array: Any) -> Numbers:
    return [float(value) for value in array]


def _clip(values: Sequence[float], limits: Any) -> Numbers:
    if limits is None:
        return list(values)
    low_high = _floats(limits)
    pairs = zip(values, low_high[::2], low_high[1::2], strict=False)
    return [min(max(value, low), high) for value, low, high in pairs]


def _exponential(function: Any, inputs: Numbers) -> Numbers:
    low = _floats(function.get("/C0", [0]))
    high = _floats(function.get("/C1", [1]))
    power = inputs[0] ** float(function["/N"])
    return [a + power * (b - a) for a, b in zip(low, high, strict=True)]


def _stitched(function: Any, inputs: Numbers) -> Numbers:
    x = inputs[0]
    domain, encode = _floats(function["/Domain"]), _floats(function["/Encode"])
    edges = [domain[0], *_floats(function["/Bounds"]), domain[1]]
    index = max(i for i in range(len(edges) - 1) if i == 0 or x >= edges[i])
    low, high = edges[index], edges[index + 1]
    to_low, to_high = encode[2 * index], encode[2 * index + 1]
    inside = to_low if high == low else to_low + (x - low) * (to_high - to_low) / (high - low)
    return evaluate(function["/Functions"][index], [inside])


def _sampled(function: Any, inputs: Numbers) -> Numbers:
    sizes = [int(n) for n in function["/Size"]]
    bits = int(function["/BitsPerSample"])
    domain, value_range = _floats(function["/Domain"]), _floats(function["/Range"])
    encode = _floats(function.get("/Encode", [v for n in sizes for v in (0, n - 1)]))
    decode = _floats(function.get("/Decode", value_range))
    outputs = len(value_range) // 2
    data = int.from_bytes(function.read_bytes(), "big")
    total_bits = len(function.read_bytes()) * 8

    def sample(place: Sequence[int]) -> Numbers:
        index, stride = 0, 1
        for at, size in zip(place, sizes, strict=True):
            index, stride = index + min(max(at, 0), size - 1) * stride, stride * size
        first = index * outputs * bits
        raw = [
            (data >> (total_bits - first - (j + 1) * bits)) & ((1 << bits) - 1)
            for j in range(outputs)
        ]
        full = (1 << bits) - 1
        return [
            decode[2 * j] + r / full * (decode[2 * j + 1] - decode[2 * j])
            for j, r in enumerate(raw)
        ]

    places = []
    for i, x in enumerate(inputs):
        low, high = domain[2 * i], domain[2 * i + 1]
        share = 0.0 if high == low else (x - low) / (high - low)
        places.append(encode[2 * i] + share * (encode[2 * i + 1] - encode[2 * i]))
    if len(places) > 1:
        return sample([round(place) for place in places])
    under = math.floor(places[0])
    part = places[0] - under
    return [a + part * (b - a) for a, b in zip(sample([under]), sample([under + 1]), strict=True)]


def _calculated(function: Any, inputs: Numbers) -> Numbers:
    source = function.read_bytes()
    program = operands(source, 0, len(source))
    stack: list[Any] = list(inputs)
    _run(program[0] if program and isinstance(program[0], list) else program, stack)
    return [float(value) for value in stack]


_BINARY: dict[str, Callable[[Any, Any], Any]] = {
    "add": lambda a, b: a + b,
    "sub": lambda a, b: a - b,
    "mul": lambda a, b: a * b,
    "div": lambda a, b: a / b,
    "idiv": lambda a, b: int(a / b),
    "mod": lambda a, b: math.fmod(a, b),
    "exp": lambda a, b: a**b,
    "atan": lambda a, b: math.degrees(math.atan2(a, b)) % 360,
    "eq": lambda a, b: a == b,
    "ne": lambda a, b: a != b,
    "gt": lambda a, b: a > b,
    "ge": lambda a, b: a >= b,
    "lt": lambda a, b: a < b,
    "le": lambda a, b: a <= b,
    "and": lambda a, b: a and b if isinstance(a, bool) else int(a) & int(b),
    "or": lambda a, b: a or b if isinstance(a, bool) else int(a) | int(b),
    "xor": lambda a, b: a != b if isinstance(a, bool) else int(a) ^ int(b),
    "bitshift": lambda a, b: int(a) << int(b) if b >= 0 else int(a) >> int(-b),
}
_UNARY: dict[str, Callable[[Any], Any]] = {
    "neg": lambda a: -a,
    "abs": abs,
    "ceiling": math.ceil,
    "floor": math.floor,
    "round": lambda a: math.floor(a + 0.5),
    "truncate": math.trunc,
    "cvi": int,
    "cvr": float,
    "sqrt": math.sqrt,
    "sin": lambda a: math.sin(math.radians(a)),
    "cos": lambda a: math.cos(math.radians(a)),
    "ln": math.log,
    "log": math.log10,
    "not": lambda a: not a if isinstance(a, bool) else ~int(a),
}


def _run(program: list[Any], stack: list[Any]) -> None:
    for step in program:
        if not isinstance(step, str):
            stack.append(step)
        elif step in _BINARY:
            second, first = stack.pop(), stack.pop()
            stack.append(_BINARY[step](first, second))
        elif step in _UNARY:
            stack.append(_UNARY[step](stack.pop()))
        else:
            _shuffle(step, stack)


def _shuffle(step: str, stack: list[Any]) -> None:
    if step == "pop":
        stack.pop()
    elif step == "dup":
        stack.append(stack[-1])
    elif step == "exch":
        stack[-2:] = stack[:-3:-1]
    elif step == "copy":
        count = int(stack.pop())
        stack.extend(stack[len(stack) - count :])
    elif step == "index":
        stack.append(stack[-1 - int(stack.pop())])
    elif step == "roll":
        turn, count = int(stack.pop()), int(stack.pop())
        if count:
            block = stack[-count:]
            turn %= count
            stack[-count:] = block[count - turn :] + block[: count - turn]
    elif step == "if":
        then = stack.pop()
        if stack.pop():
            _run(then, stack)
    elif step == "ifelse":
        other, then = stack.pop(), stack.pop()
        _run(then if stack.pop() else other, stack)
    else:
        raise ValueError(f"unknown calculator operator {step!r}")
