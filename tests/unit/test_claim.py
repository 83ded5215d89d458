"""Who may serve a site, by the claim at its broker: the first, until it has clearly gone."""

import pytest
from harness import SetClock

from monitor.sources.claim import APART_S, GRACE_S, RENEW_S, Claim, Holder, SiteClaim, claim_of

MINE, OTHER = Holder("00000000000000aa", "till"), Holder("00000000000000bb", "bakehouse oven room")


class Ticking(SetClock):
    """Real seconds that a test puts forward."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 1000.0

    def real_s(self) -> float:
        return self.now_s


class Broker:
    """One retained message."""

    def __init__(self) -> None:
        self.message = b""
        self.is_away = False

    def read(self) -> bytes:
        if self.is_away:
            raise ConnectionRefusedError
        return self.message


@pytest.fixture
def ticking() -> Ticking:
    return Ticking()


@pytest.fixture
def broker() -> Broker:
    return Broker()


@pytest.fixture
def claim(broker: Broker, ticking: Ticking) -> SiteClaim:
    return SiteClaim(MINE, ticking, broker.read)


@pytest.mark.parametrize("kept", [Claim(OTHER, 7), Claim(OTHER, 0, is_left=True)])
def test_a_claim_is_read_as_it_is_said(kept: Claim) -> None:
    assert claim_of(kept.text()) == kept


@pytest.mark.parametrize("text", [b"", b"held", b"held a b c", b"\xff\xfe", b"gone aa 1 till"])
def test_anything_else_claims_nothing(text: bytes) -> None:
    assert claim_of(text) is None


@pytest.mark.parametrize("message", [b"", Claim(OTHER, 3, is_left=True).text(), Claim(MINE, 3).text()])
def test_with_no_claim_a_left_one_or_its_own_a_collector_begins_at_once(
    claim: SiteClaim, broker: Broker, message: bytes
) -> None:
    broker.message = message
    assert claim.may_take()


def test_it_waits_for_as_long_as_the_other_renews(claim: SiteClaim, broker: Broker, ticking: Ticking) -> None:
    for count in range(100):
        broker.message = Claim(OTHER, count).text()
        assert not claim.may_take()
        assert claim.other == OTHER
        ticking.now_s += RENEW_S


@pytest.mark.parametrize("message", [Claim(OTHER, 3).text(), Claim(OTHER, 3, is_left=True).text(), b""])
def test_it_takes_over_what_is_no_longer_renewed(
    claim: SiteClaim, broker: Broker, ticking: Ticking, message: bytes
) -> None:
    """A holder that hangs, one whose line broke, a broker that has forgotten everything."""
    broker.message = Claim(OTHER, 2).text()
    assert not claim.may_take()
    broker.message = message
    assert not claim.may_take()
    ticking.now_s += GRACE_S - 0.1
    assert not claim.may_take()
    ticking.now_s += 0.1 + APART_S
    assert claim.may_take()
    assert claim.other is None


def test_what_was_given_up_stays_so_until_the_log_in_unless_it_is_renewed(
    claim: SiteClaim, broker: Broker, ticking: Ticking
) -> None:
    """The collector looks once before it begins, and once more before it logs in."""
    broker.message = Claim(OTHER, 2).text()
    claim.may_take()
    ticking.now_s += GRACE_S + APART_S
    assert [claim.may_take(), claim.may_take()] == [True, True]
    broker.message = Claim(OTHER, 3).text()
    assert not claim.may_take()


def test_the_holder_that_comes_back_after_the_brokers_restart_is_waited_for(
    claim: SiteClaim, broker: Broker, ticking: Ticking
) -> None:
    broker.message = Claim(OTHER, 2).text()
    claim.may_take()
    broker.message = Claim(OTHER, 0, is_left=True).text()
    claim.may_take()
    ticking.now_s += GRACE_S / 2
    broker.message = Claim(OTHER, 3).text()
    assert not claim.may_take()
    ticking.now_s += GRACE_S / 2 + APART_S
    assert not claim.may_take()


def test_the_holder_itself_finds_its_left_claim_and_goes_on(claim: SiteClaim, broker: Broker) -> None:
    assert claim.may_take()
    claim.taken()
    broker.message = claim.will
    assert claim.may_take()


def test_a_broker_that_does_not_answer_is_no_reason_to_take_over(
    claim: SiteClaim, broker: Broker, ticking: Ticking
) -> None:
    broker.message = Claim(OTHER, 2).text()
    claim.may_take()
    broker.is_away = True
    with pytest.raises(ConnectionRefusedError):
        claim.may_take()
    assert claim.other == OTHER


def test_a_claim_is_renewed_when_due_and_never_says_the_same_twice(claim: SiteClaim, ticking: Ticking) -> None:
    said = [claim.taken()]
    assert claim.renewed() is None
    ticking.now_s += RENEW_S
    said.append(claim.renewed() or b"")
    assert len({*said}) == 2
    assert [each.holder for each in map(claim_of, said) if each] == [MINE, MINE]


def test_two_that_wait_do_not_go_at_once(broker: Broker, ticking: Ticking) -> None:
    waiting = [
        SiteClaim(Holder(name, "till"), ticking, broker.read) for name in ("0000000000000001", "00000000000003e7")
    ]
    broker.message = Claim(OTHER, 2).text()
    assert [each.may_take() for each in waiting] == [False, False]
    ticking.now_s += GRACE_S + APART_S / 2
    assert [each.may_take() for each in waiting] == [True, False]
