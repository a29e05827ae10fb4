"""Names of threads as shops write them, what is wrong with a name, and lists of drills in stock."""

import pytest

from calc.cutting.drill_sizes import inch_drills, metric_drills, neighbours, read_drill, read_stock
from calc.cutting.threads import drill_for, hole_for, thread
from calc.errors import WorkingError


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("M10", "M10x1.5"),
        ("m10 x 1,25", "M10x1.25"),
        ("M10×1", "M10x1"),
        ("M10*1", "M10x1"),
        ("M10-1.25", "M10x1.25"),
        ("M10 1.25", "M10x1.25"),
        ("M10x1.5-6H", "M10x1.5"),
        ("M10 x 1.5 - 5H6H", "M10x1.5"),
        ("M10x1.5-LH", "M10x1.5 LH"),
        ("M6-6g", "M6x1"),
        ("M10 6H", "M10x1.5"),
        ("M26x1.5", "M26x1.5"),
        ("2/8-20", "1/4-20 UNC"),
        ("1/4-20 2B", "1/4-20 UNC"),
        ("1/4-20UNC2B", "1/4-20 UNC"),
        ("M13x1", "M13x1"),
        ("1/4-20", "1/4-20 UNC"),
        ("1/4-20 UNC-2B", "1/4-20 UNC"),
        ("1/4-20-UNC", "1/4-20 UNC"),
        ("1/4-20UNC 2A", "1/4-20 UNC"),
        ("1/4 - 20 UNC class 2B", "1/4-20 UNC"),
        ("1/4 in - 20", "1/4-20 UNC"),
        ('1/4"x20 tpi', "1/4-20 UNC"),
        ("1/4 20 UNC", "1/4-20 UNC"),
        ("¼–20", "1/4-20 UNC"),
        ("0.250-20 UNC", "1/4-20 UNC"),
        (".250-28", "1/4-28 UNF"),
        ("0,19-32", "#10-32 UNF"),
        ("1.5-6", "1 1/2-6 UNC"),
        ("1/4 UNF", "1/4-28 UNF"),
        ("UNC 1/4-20", "1/4-20 UNC"),
        ("UNF #10-32 LH", "#10-32 UNF LH"),
        ("1/4-20 NC", "1/4-20 UNC"),
        ("#10-32", "#10-32 UNF"),
        ("10-32 UNF", "#10-32 UNF"),
        ("No. 8-32", "#8-32 UNC"),
        ("no 08-32", "#8-32 UNC"),
        ("Nr. 6-40", "#6-40 UNF"),
        ("number 4-40", "#4-40 UNC"),
        ("0-80", "#0-80 UNF"),
        ("1-72", "#1-72 UNF"),
        ("1-8", "1-8 UNC"),
        ("1 UNC", "1-8 UNC"),
        ("12-32", "#12-32 UNEF"),
        ("5/16-32 UNEF", "5/16-32 UNEF"),
        ("1/2 NEF", "1/2-28 UNEF"),
        ("1 1/8-8 UN", "1 1/8-8 UN"),
        ("1-1/8-8UN", "1 1/8-8 UN"),
        ("1 1/8 8-UN", "1 1/8-8 UN"),
        ("12-UN 2 1/2", "2 1/2-12 UN"),
        ("13/16-16", "13/16-16 UN"),
        ("1-12 UN", "1-12 UNF"),
        ("6-8 UN", "6-8 UN"),
        ("1-14 UNS", "1-14 UNS"),
        ("2-4 1/2 UNC", "2-4.5 UNC"),
        ("0.3-20 UNS", "0.3-20 UNS"),
        ("G 1/2", "G 1/2"),
        ("G½", "G 1/2"),
        ("g1 1/4-a", "G 1 1/4"),
        ("G 1-1/4 B", "G 1 1/4"),
        ("1/2 BSPP", "G 1/2"),
        ("BSPP 1/2-14", "G 1/2"),
        ("R 3/4", "R 3/4"),
        ("Rp3/4", "Rp 3/4"),
        ("rc 3/4", "Rc 3/4"),
        ("3/4-14 BSPT", "Rc 3/4"),
        ("1/2 NPT", "1/2-14 NPT"),
        ("NPT 1/2", "1/2-14 NPT"),
        ("1/2-14NPT", "1/2-14 NPT"),
        ("1-11.5 NPT", "1-11.5 NPT"),
        ("1-11 1/2 NPT LH", "1-11.5 NPT LH"),
    ],
)
def test_reads_what_shops_write(written: str, name: str) -> None:
    assert thread(written).name == name


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("1/4-20 UNF", "1/4 UNF has 28 threads per inch, not 20: write 1/4-28 UNF, or 1/4-20 UNC."),
        ("1-14 UNF", "write 1-12 UNF, or 1-14 UNS."),
        ("3/4-12 UNC", "write 3/4-10 UNC, or 3/4-12 UN."),
        ("13/16-16 UNC", "There is no 13/16 UNC; write 13/16-16 UN, or 13/16 comes as 13/16-20 UNEF."),
        ("#0-64 UNC", "There is no #0 UNC; write #0-64 UNS, or #0 comes as #0-80 UNF."),
        ("#0 UNC", "There is no #0 UNC; #0 comes as #0-80 UNF."),
        ("1/4-20 8-UN", "1/4-20 has 20 threads per inch and cannot be 8-UN."),
        ("1/4", "1/4 lacks its threads per inch; 1/4 comes as 1/4-20 UNC, 1/4-28 UNF and 1/4-32 UNEF."),
        ("10", "#10 comes as #10-24 UNC and #10-32 UNF."),
        ("9/16 UN", "9/16 lacks its threads per inch"),
        ("5/17 UNC", "near it are 1/4-20 UNC and 5/16-18 UNC."),
        ("1/4-24", "1/4-24 is in no table; 1/4 comes as"),
        ("1/4-24", "for a special write 1/4-24 UNS."),
        ("1/4-8 UN", "1/4-8 is in no table"),
        ("0.3-20", "for a special write 0.3-20 UNS."),
        ("10-16 UN", "10-16 is in no table"),
        ("#11-24", "There is no screw size #11; near it are #10 and #12."),
        ("#14-20", "There is no screw size #14; the numbers run from #0 to #12."),
        ("1/0-20", "is not a fraction"),
        ("1/4-1", "1 threads per inch do not go with a diameter of 0.25 in."),
        (
            "M13",
            "M13 has no coarse pitch; near it are M12x1.75 and M14x2; for a special write its pitch too, like M13x1.",
        ),
        ("M26", "M26 comes as M26x1.5."),
        ("M10x1.3", "M10 comes as M10x1.5, M10x1.25, M10x1 and M10x0.75."),
        ("M10x2", "M10x2 is in no table"),
        ("M13x3", "M13x3 is in no table"),
        ("M10 fine", "M10 comes as M10x1.5"),
        ("M5x9", "does not go with a diameter of 5 mm"),
        ("G 5/16", "There is no G 5/16; near it are G 1/4 and G 3/8."),
        ("5/16 NPT", "near it are 1/4 NPT and 3/8 NPT."),
        ("Rc 5/8", "near it are Rc 1/2 and Rc 3/4."),
        ("G 1/0", "There is no G 1/0; near it are G 1/16 and G 1/8."),
        ("1/2 BSP", "write G 1/2 for a parallel thread or Rc 1/2 for a taper one."),
        ("1/2 NPTF", "its pitch, taper and length are those of 1/2 NPT."),
        ("1/2-18 NPT", "1/2-14 NPT has 14 threads per inch, not 18."),
        ("M14F", "M14 comes as M14x2"),
        ("M58A2B", "M58 comes as"),
        ("1/4-202B", "is not known"),
        ("1/4-20 UNC8C", "is not known"),
        ("1/4-2020UN", "is not known"),
        ("1/4-20 UNX", 'Thread "1/4-20 UNX" is not known; near it are 1/4-20 UNC'),
        ("Tr 20x4", "is not known; write it like M10"),
        ("", "is not known; write it like M10"),
        ("M10 " + "x" * 90, "is not known"),
    ],
)
def test_says_what_is_wrong_and_what_was_meant(written: str, says: str) -> None:
    with pytest.raises(WorkingError) as caught:
        thread(written)
    assert caught.value.argument == "thread"
    assert says in caught.value.sentence


def test_a_special_is_known_as_one() -> None:
    assert not thread("M13x1").listed
    assert not thread("1-14 UNS").listed
    assert thread("1 1/8-8 UN").listed


@pytest.mark.parametrize(
    ("stock", "names"),
    [
        ("8.5, F, #7", ["#7", "F", "8.5"]),
        ("8,5; 8,6", ["8.5", "8.6"]),
        ("8 to 9 by 0.25 mm", ["8", "8.25", "8.5", "8.75", "9"]),
        ("1/2 to 1 by 1/4", ["1/2", "3/4", "1"]),
        ("1/4 to 1/2 in by 3/32", ["1/4", "11/32", "7/16"]),
        ("0.1 to 0.2 by 1/10", ["0.1"]),
        ("8.5, 8.5,, ", ["8.5"]),
    ],
)
def test_reads_a_list_of_drills(stock: str, names: list[str]) -> None:
    assert [drill.name for drill in read_stock(stock)] == names


def test_whole_sets_of_drills_may_be_named() -> None:
    assert read_stock("Metric") == metric_drills()
    assert len(read_stock("letters")) == 26
    assert len(read_stock("numbers")) == 80
    assert len(read_stock("letters, numbers, fractions")) == len(inch_drills())


@pytest.mark.parametrize(
    ("stock", "says"),
    [
        ("frog", '"frog" cannot be read'),
        ("8.5, #99", '"#99" cannot be read'),
        (" , ", "names no drill"),
        ("9 to 8 by 0.1", "runs upward"),
        ("1 to 100 by 0.001", "fewer than 2000 steps"),
    ],
)
def test_refuses_a_list_it_cannot_read(stock: str, says: str) -> None:
    with pytest.raises(WorkingError) as caught:
        read_stock(stock)
    assert caught.value.argument == "stock"
    assert says in caught.value.sentence


def test_neighbours_at_the_ends_of_the_list() -> None:
    drills = metric_drills()
    assert neighbours(drills[0], drills) == (None, drills[1])
    assert neighbours(drills[-1], drills) == (drills[-2], None)
    # E and 1/4 are the same size: neither is beside the other.
    assert [drill.name for drill in neighbours(read_drill("E"), inch_drills()) if drill] == ["D", "F"]


@pytest.mark.parametrize(
    ("name", "asked", "argument", "says"),
    [
        ("R 1/2", {}, "thread", "is an outside thread and is not tapped: write Rc 1/2 or Rp 1/2"),
        ("G 1/2", {"formed": True}, "form", "pipe threads are cut"),
        ("1/2 NPT", {"percent": 75}, "percent", "does not apply to 1/2-14 NPT"),
        ("Rc 3", {}, "thread", "No table at hand has a drill for Rc 3"),
    ],
)
def test_what_a_pipe_thread_does_not_have(name: str, asked: dict[str, float], argument: str, says: str) -> None:
    with pytest.raises(WorkingError) as caught:
        hole_for(thread(name), **asked)  # type: ignore[arg-type]
    assert caught.value.argument == argument
    assert says in caught.value.sentence


def test_the_drill_comes_from_the_stock_or_the_stock_is_refused() -> None:
    assert drill_for(thread("M10"), stock=read_stock("8, 8.6, 9, 12")).name == "8.6"
    assert drill_for(thread("M10"), formed=True, stock=read_stock("8.5, 9.5")).name == "9.5"
    assert drill_for(thread("G 1/2"), stock=read_stock("18.5, 18.9, 19.2")).name == "18.9"
    assert drill_for(thread("1/2 NPT"), stock=read_stock("fractions")).name == "23/32"
    for name, stock in (("M10", "5, 12"), ("1/4-20", "8"), ("1/2 NPT", "3/4")):
        with pytest.raises(WorkingError, match="No drill in stock suits") as caught:
            drill_for(thread(name), stock=read_stock(stock))
        assert caught.value.argument == "stock"


def test_what_no_drill_is_near_is_bored() -> None:
    assert drill_for(thread("6-8 UN")).name == "bored"
    assert drill_for(thread("M64x1.5")).size == pytest.approx(62.5)
