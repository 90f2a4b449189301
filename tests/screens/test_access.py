"""Who is let in: codes that work once, passes of a role, and limits."""

from pathlib import Path

import pytest

from assistant.screens.access import CODE_S, MAY_SEE, PASS_S, ROLES, Access, AccessDenied, Limit


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def test_a_code_works_once_and_for_its_role_and_bay() -> None:
    access = Access(paired=True)
    token, given = access.join(access.code("helper", "job-1"), "10.0.0.2")
    assert (given.role, given.bay) == ("helper", "job-1")
    assert access.allows(token, "helper", "job-1")
    assert not access.allows(token, "helper", "job-2")
    assert not access.allows(token, "tech", "job-1") and not access.allows(token, "lead")
    code = access.code("tech")
    access.join(f"{code[:4]} {code[4:]}", "10.0.0.2")
    with pytest.raises(AccessDenied, match="wrong"):
        access.join(code, "10.0.0.2")


@pytest.mark.parametrize("role", ROLES)
def test_a_pass_opens_the_pages_of_its_role_alone(role: str) -> None:
    access = Access(paired=True)
    token, _ = access.join(access.code(role), "a")
    assert {page for page in ROLES if access.allows(token, page, "any")} == set(MAY_SEE[role])


def test_nobody_comes_in_without_a_pass() -> None:
    access = Access(paired=True)
    assert not any(access.allows(cookie, role) for cookie in ("", "x", "\ud800") for role in ROLES)
    assert all(Access(paired=False).allows("", role) for role in ROLES)
    assert not Access(paired=False).allows("", "root")


def test_a_code_ends_and_an_older_one_is_void() -> None:
    clock = Clock()
    access = Access(paired=True, clock=clock)
    old, new = access.code("tech"), access.code("tech")
    with pytest.raises(AccessDenied, match="wrong"):
        access.join(old, "a")
    clock.now = CODE_S + 1
    with pytest.raises(AccessDenied, match="wrong"):
        access.join(new, "a")


def test_codes_cannot_be_tried_one_after_the_other() -> None:
    """8 digits, 5 tries a minute from one address and 50 from all: a code is guessed in none."""
    clock = Clock()
    access = Access(paired=True, clock=clock)
    code = access.code("tech")
    for _ in range(5):
        with pytest.raises(AccessDenied, match="wrong"):
            access.join("00000000" if code != "00000000" else "1", "a")
    with pytest.raises(AccessDenied, match="slow"):
        access.join(code, "a")
    for n in range(60):
        with pytest.raises(AccessDenied):
            access.join("1", f"address {n}")
    with pytest.raises(AccessDenied, match="slow"):
        access.join(code, "a new address")
    clock.now = 61
    assert access.join(code, "a")


def test_a_limit_lets_through_so_many_in_its_time() -> None:
    clock = Clock()
    limit = Limit(3, 2.0, clock)
    assert [limit.allows() for _ in range(4)] == [True, True, True, False]
    clock.now = 2.1
    assert limit.allows()


def test_a_pass_is_good_for_a_shift_and_through_a_new_start(tmp_path: Path) -> None:
    """Only its hash is kept, and what another hand wrote into the file opens nothing."""
    file, day = tmp_path / "passes.json", Clock()
    access = Access(True, file, today=day)
    token, _ = access.join(access.code("helper", "job-1"), "a")
    assert token not in file.read_text()
    again = Access(True, file, today=day)
    assert again.allows(token, "helper", "job-1") and not again.allows(token, "tech", "job-1")
    day.now = PASS_S + 1
    assert not again.allows(token, "helper", "job-1")
    assert not Access(True, file, today=day).allows(token, "helper", "job-1")
    day.now = 0.0
    for odd in (b"", b"[]", b'{"x": 1}', b"\xff", file.read_bytes().replace(b"helper", b"root  ")):
        file.write_bytes(odd)
        assert not Access(True, file, today=day).allows(token, "helper", "job-1")
    file.unlink()
    file.mkdir()
    kept_nowhere = Access(True, file, today=day)
    token, _ = kept_nowhere.join(kept_nowhere.code("tech"), "a")
    assert kept_nowhere.allows(token, "tech")
