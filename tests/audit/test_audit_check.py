"""One check in its three renderings."""

from lossstats.audit.audit_check import Check


def test_three_renderings():
    check = Check("p from n", "agrees", "0.02 to 0.04 < 0.05")
    assert str(check) == "Check\n  p from n  agrees; 0.02 to 0.04 < 0.05"
    assert "0.04 &lt; 0.05" in check._repr_html_()
    assert check.to_dict() == {"name": "p from n", "verdict": "agrees", "words": "0.02 to 0.04 < 0.05"}
