"""The light ``NamedTuple`` behaves as the one of ``typing``."""

from __future__ import annotations

import copy
import pickle
import typing

import pytest

from meterlink.records.named import NamedTuple


class Ours(NamedTuple):
    """A record."""

    a: int
    """First."""
    b: str = "x"

    @property
    def twice(self) -> int:
        """Twice the first."""
        return 2 * self.a

    @classmethod
    def make(cls, a: int) -> Ours:
        """Make one."""
        return cls(a)

    def more(self, by: int) -> Ours:
        """Return another."""
        return self._replace(a=self.a + by)


class Theirs(typing.NamedTuple):
    """A record."""

    a: int
    """First."""
    b: str = "x"


def test_records_have_fields_defaults_and_order() -> None:
    """Fields, defaults, text and dictionary are those of ``typing.NamedTuple``."""
    assert Ours._fields == Theirs._fields
    assert Ours._field_defaults == Theirs._field_defaults
    assert repr(Ours(1)).replace("Ours", "Theirs") == repr(Theirs(1))
    assert Ours(1, "y")._asdict() == Theirs(1, "y")._asdict()
    assert tuple(Ours(1)) == tuple(Theirs(1))


def test_methods_properties_and_docstrings_come_along() -> None:
    """What stands in the class body works on the record."""
    assert Ours.make(3).twice == 6
    assert Ours(3).more(1) == Ours(4)
    assert Ours.__doc__ == "A record."
    assert Ours.__qualname__ == "Ours"


def test_records_do_not_change() -> None:
    """A field cannot be set."""
    with pytest.raises(AttributeError):
        Ours(1).a = 2


def test_a_missing_field_is_refused() -> None:
    """A required field has no default."""
    with pytest.raises(TypeError):
        Ours()


def test_records_can_be_copied_and_pickled() -> None:
    """Records travel between processes."""
    assert pickle.loads(pickle.dumps(Ours(1))) == copy.copy(Ours(1)) == Ours(1)
