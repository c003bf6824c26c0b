"""Sync: passwords are never repeated, another machine is spoken to encrypted, studios stay apart, nothing is lost."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Iterator

import pytest
from library_sets import Set, block
from postgres import cluster, missing
from test_merge import content, one_set

from meterlink.errors import LibraryError, MeterlinkError, UsageError
from meterlink.library import Library, sync
from meterlink.library.check import check
from meterlink.library.remote import schema_of

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"sync with PostgreSQL not tested: {missing()}")
SECRETS = ("hunter2", "p@ss", "p%ss", "p ss", "p/ss", "p:ss", "p#ss", "p?ss", "p%20ss", "p@ss/word", "[p", "pä&ss=1")
FORMS = (
    "postgresql://studio:{}@127.0.0.1:1/x", "postgres://studio:{}@nowhere.invalid/x", "postgresql://studio:{}@127.0.0.1:port/x",
    "postgresql://:{}@127.0.0.1:1", "postgresql://127.0.0.1:1/x?user=a&password={}", "postgress://studio:{}@127.0.0.1/x",
    "studio:{}@127.0.0.1/x", "postgresql://studio:{}", "postgresql://studio:{}@[::1/x", "http://studio:{}@127.0.0.1/",
)  # fmt: skip


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """A private PostgreSQL without encryption."""
    with cluster() as url:
        yield url


_names = itertools.count()


@pytest.fixture
def url(server: str) -> str:
    """A new, empty database."""
    import psycopg

    name = f"doors{next(_names)}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return f"{server}/{name}"


@pytest.mark.parametrize("secret", SECRETS)
def test_a_password_is_never_repeated(tmp_path, secret: str) -> None:
    """12 passwords in 10 forms of URL, right and malformed: one line, and no piece of the password in it."""
    pieces = [piece for piece in ("hunter2", "ss", "word") if piece in secret]
    with Library.open(tmp_path / "a") as library:
        for form in FORMS:
            if "@" in secret and form.endswith("{}"):
                continue  # with an @ in it that one is a proper URL of a host
            with pytest.raises(MeterlinkError) as caught:
                sync.sync(library, form.format(secret))
            said = str(caught.value).replace(".pgpass", "").replace("PGPASSWORD", "").replace("password", "")
            assert "\n" not in said
            assert secret not in said
            for piece in pieces:
                assert piece not in said, (form, said)


def test_another_machine_is_spoken_to_encrypted(tmp_path, url, monkeypatch) -> None:
    """A server that is not this machine must encrypt unless the URL, the service or the system's setting says otherwise."""
    for name in ("PGSSLMODE", "PGSERVICE", "PGHOST"):
        monkeypatch.delenv(name, raising=False)
    elsewhere = url.replace("127.0.0.1", "0.0.0.0")  # reaches this machine, but does not look like it
    with Library.open(one_set(tmp_path / "a", "A")) as library:
        with pytest.raises(LibraryError, match="SSL"):
            sync.sync(library, elsewhere)
        assert sync.sync(library, elsewhere + "?sslmode=disable").sent > 0
        assert sync.sync(library, url).sent == 0
        monkeypatch.setenv("PGSSLMODE", "disable")
        assert sync.sync(library, elsewhere).sent == 0


def test_two_studios_in_one_database_stay_apart(tmp_path, url) -> None:
    """Each studio's libraries meet under its name, in any capitals, and see nothing of the other's."""
    with (
        Library.open(one_set(tmp_path / "a", "A")) as a,
        Library.open(one_set(tmp_path / "b", "B")) as b,
        Library.open(tmp_path / "c") as c,
    ):
        sync.sync(a, url, studio="North light")
        assert sum(sync.sync(b, url, studio="Süd").fetched) == 0
        sync.sync(c, url, studio="NORTH  LIGHT")
        assert content(c) == content(a)
        assert [s.name for s in b.setups()] == ["B"]
    for wrong in ("x" * 25, "a\nb", " "):
        with pytest.raises(UsageError):
            schema_of(wrong)


def test_a_sync_cut_after_sending_and_an_older_server_lose_nothing(tmp_path, url, monkeypatch, tally) -> None:
    """Sent, cut off before the note of fetching, the server put back to before: the next sync sends every reading again."""
    import psycopg

    with Library.open(tmp_path / "a") as a:
        one = Set(a)
        one.add()
        sync.sync(a, url)
        server, _, name = url.rpartition("/")
        with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}_old TEMPLATE {name}")
        one.add()
        one.add()

        def cut(*args, **kwargs):
            raise KeyboardInterrupt

        monkeypatch.setattr(sync, "fetch", cut)
        with pytest.raises(KeyboardInterrupt):
            sync.sync(a, url)
        monkeypatch.undo()
        with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
            connection.execute(f"ALTER DATABASE {name}_old RENAME TO {name}")
        sync.sync(a, url)
        with psycopg.connect(url) as connection:
            found = connection.execute("SELECT count(*), count(DISTINCT id) FROM meterlink.reading").fetchone()
        assert found is not None
        tally.count, tally.lost, tally.doubled = 1, 3 - found[1], found[0] - found[1]


def test_a_restored_library_syncs_and_gets_back_what_it_had_sent(tmp_path, url) -> None:
    """A library put back from a copy meets the shared one again: what it had sent since comes back, new readings go out."""
    with Library.open(tmp_path / "a") as a:
        one = Set(a)
        one.add()
        sync.sync(a, url)
        a.back_up("merge")
        one.add()
        sync.sync(a, url)
        after = content(a)
    from meterlink.library.backup import Backups

    (copy,) = [one.path for one in Backups(tmp_path / "a").all() if one.reason == "merge"]
    shutil.copy(copy, tmp_path / "b")
    with Library.open(tmp_path / "b") as b:
        assert sync.sync(b, url).fetched.readings == 1
        assert content(b) == after
        one.library = b
        one.add()
        assert sync.sync(b, url).sent == 1
    assert check(tmp_path / "b").sound


def test_one_damaged_waveform_does_not_stop_a_sync(tmp_path, url) -> None:
    """It is named and left out; the readings and the other waveforms arrive."""
    said: list[str] = []
    with Library.open(tmp_path / "a") as a, Library.open(tmp_path / "b") as b:
        one = Set(a)
        readings = [one.add(waveform=block(300)) for _ in range(3)]
        with a.db.write() as connection:
            connection.execute("UPDATE waveform SET samples = x'00' WHERE reading_id = ?", (bytes.fromhex(readings[1].id),))
        sync.sync(a, url, said.append)
        sync.sync(b, url)
        assert b.db.row("SELECT count(*) FROM waveform") == (2,)
        assert len(b.readings(one.setup.id)) == 3
    assert any(readings[1].id in str(one) for one in said)


def test_the_password_is_not_needed_on_the_command_line(capsys) -> None:
    """The help says how: environment, pgpass, service."""
    from meterlink.cli.main import main

    main(["sync", "--help"])
    first = capsys.readouterr().out
    main(["sync", "--help-all"])
    whole = capsys.readouterr().out
    assert all(word in first for word in ("PGPASSWORD", "service="))
    assert all(word in whole for word in ("PGPASSWORD", ".pgpass", "service=", "sslmode"))


def test_numbers_beyond_belief_come_in_by_no_sync(tmp_path, url) -> None:
    """A reading of 10¹³ lx·s that another client put there: refused and named, the library is what it was."""
    import psycopg

    with Library.open(one_set(tmp_path / "a", "A")) as a, Library.open(tmp_path / "b") as b:
        sync.sync(a, url)
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("UPDATE meterlink.reading SET exposure_lxs = 1e13")
        before = content(b)
        with pytest.raises(MeterlinkError, match="exposure_lxs"):
            sync.sync(b, url)
        assert content(b) == before
