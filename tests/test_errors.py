import pickle

import pytest

from wearvision.errors import BadInput, BrokenRecord, NeedsPerson, UsageError, WearvisionError


@pytest.mark.parametrize(
    ("kind", "code"), [(UsageError, 2), (BadInput, 3), (NeedsPerson, 4), (BrokenRecord, 5)]
)
def test_each_child_has_its_exit_code(kind: type[WearvisionError], code: int) -> None:
    assert kind("x").exit_code == code
    assert issubclass(kind, WearvisionError)


def test_a_message_is_one_line_with_what_got_and_do() -> None:
    error = BadInput("the scale\nis off", got=-1, do="check the bar")
    assert str(error) == "the scale is off (got -1); check the bar"


def test_errors_cross_a_process_border_whole() -> None:
    back = pickle.loads(pickle.dumps(NeedsPerson("retake", got=0.3, do="stand closer")))
    assert type(back) is NeedsPerson
    assert (back.what, back.got, back.do) == ("retake", 0.3, "stand closer")
