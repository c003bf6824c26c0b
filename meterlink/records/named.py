"""``NamedTuple`` as in ``typing``, without importing ``typing``: that module alone costs a third of a start of Python.

For the type checker it *is* ``typing.NamedTuple``.  At run time a class body becomes a ``collections.namedtuple`` with its
defaults, methods and properties; annotations stay what they are and are never compiled.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import NamedTuple as NamedTuple
else:
    from collections import namedtuple

    class _Maker(type):
        """Turns the body of a class into a named tuple."""

        def __new__(cls, name, bases, body):
            if not bases:
                return super().__new__(cls, name, bases, body)
            fields = body.pop("__annotations__", {})
            defaults = [body.pop(field) for field in fields if field in body]
            made = namedtuple(name, fields, defaults=defaults, module=body.pop("__module__"))
            made.__annotations__ = fields
            for key, value in body.items():
                if key != "__classcell__":
                    setattr(made, key, value)
            return made

    NamedTuple = _Maker("NamedTuple", (), {"__doc__": "Base of records: see the module."})
