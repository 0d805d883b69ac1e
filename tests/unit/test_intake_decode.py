"""CSV: encodings, delimiters, header rows, and files that cannot be read."""

import pytest

from service.errors import Unreadable
from service.intake.decode import MAX_LINE_BYTES, read_csv

LIST = "Nr;Baumart;Umfang cm\n1;Föhre;88,5\n2;Rotbuche;120\n"


@pytest.fixture
def read(tmp_path):
    def reading(content, name="list.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_csv(path)

    return reading


def guesses(table):
    return {guess.what: guess.value for guess in table.guesses}


@pytest.mark.parametrize(
    ("encoding", "said"),
    [
        *(("utf-8", "UTF-8"), ("utf-8-sig", "UTF-8-SIG"), ("utf-16", "UTF-16"), ("cp1252", "cp1252")),
        *(("cp850", "cp850"), ("mac_roman", "mac_roman")),
    ],
)
def test_the_encoding_is_guessed_and_said(read, encoding, said):
    table = read(LIST.encode(encoding))
    assert table.columns[1][0] == "Föhre"
    assert table.headers[0] == "Nr"
    assert guesses(table)["encoding"] == said


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("番号,樹種,幹周cm\n1,クスノキ,120\n2,ケヤキ,88\n", "cp932"),
        ("no,kind,girth cm\n1,クスノキ,120\n2,ケヤキ,88\n", "cp932"),
        ("番号,樹種,幹周cm\n1,クスノキ,120\n2,ケヤキ,88\n", "euc_jp"),
        ("编号,树种,胸围cm\n1,香樟,120\n2,银杏,88\n", "gb18030"),
        ("編號,樹種\n1,樟樹\n2,榕樹\n", "big5"),
        ("번호,수종\n1,느티나무\n2,은행나무\n", "euc_kr"),
        ("номер,вид\n1,Липа\n2,Дуб\n", "cp1251"),
        ("αρ,είδος\n1,Πλάτανος\n", "cp1253"),
    ],
)
def test_letters_of_other_scripts_are_not_guessed_but_said_to_be_unknown(read, text, encoding):
    with pytest.raises(Unreadable, match=r"letters of list\.csv cannot be told.*CSV \(UTF-8\)"):
        read(text.encode(encoding))


@pytest.mark.parametrize("encoding", ["cp1252", "cp850", "mac_roman"])
def test_western_letters_beside_each_other_are_no_other_script(read, encoding):
    text = "Nr;Straße;Art\n1;Süßäcker;châtaignier\n2;Größe;créée\n3;Høyåsen;ïöü\n"
    assert read(text.encode(encoding)).columns[1] == ["Süßäcker", "Größe", "Høyåsen"]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_guessed_and_said(read, delimiter):
    text = "".join(delimiter.join(row) + "\r\n" for row in (["tag", "species"], ["1", "x"], ["2", "y"]))
    table = read(text)
    assert table.headers == ["tag", "species"]
    assert table.columns == [["1", "2"], ["x", "y"]]


def test_delimiters_inside_quotes_are_text(read):
    table = read('tag,species\n1,"Eiche, Stiel-"\n2,"say ""oak"""\n3,"two\nlines"\n')
    assert table.columns[1] == ["Eiche, Stiel-", 'say "oak"', "two\nlines"]


def test_lines_above_the_header_are_passed_over(read):
    table = read("Trees of the park\n\nexported 2024\ntag,species,girth_cm\n1,Tilia,80\n2,Acer,90\n")
    assert table.headers == ["tag", "species", "girth_cm"]
    assert table.rows == [5, 6]
    assert guesses(table)["header row"] == "4"


def test_a_file_without_header_gets_numbered_columns(read):
    table = read("1,9.1,47.2,80\n2,9.2,47.3,90\n")
    assert table.headers == ["column 1", "column 2", "column 3", "column 4"]
    assert table.columns[3] == ["80", "90"]


def test_double_and_empty_headers_are_told_apart(read):
    assert read("tag,note,note,\n1,a,b,c\n").headers == ["tag", "note", "note (2)", "column 4"]


def test_empty_lines_are_no_rows_and_short_rows_are_filled_up(read):
    table = read("tag,species,girth\n1,Tilia\n\n,,\n2,Acer,90\n")
    assert table.rows == [2, 5]
    assert table.columns[2] == ["", "90"]


def test_a_row_with_too_many_cells_is_refused_alone(read):
    table = read("tag,species\n1,Tilia\n2,Acer,rubrum\n3,Ulmus\n")
    assert list(table.faults) == [1]
    assert "3 cells" in table.faults[1]


def test_a_last_row_that_is_cut_off_is_refused(read):
    table = read("tag,species,girth\n1,Tilia,80\n2,Acer,90\n3,Ulm")
    assert "cut off" in table.faults[2]


def test_an_inch_sign_is_no_quote(read):
    assert read('tag,size\n1,12"\n2,14\n').columns[1] == ['12"', "14"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"\n\n", "no rows"),
        (b"|", "no rows"),
        (b"tag,species\n", "no rows"),
        (b"tag,species\n1,\x00\n", "NUL"),
        (b"PK\x03\x04\x00\x00", "NUL"),
        (b"just some prose\nwithout any columns\n", "no comma"),
        (b'tag,species\n1,"Tilia\n2,Acer\n3,Ulmus\n', "not closed"),
        (b'tag,species\n1,Tilia\n2,"Ac', "not closed"),
        (b"tag,species\n1,F\xc3\xb6hre \xed\xa0\x80\n", "paired code"),
        ("tag,species\n1,äöüäöüäöü\n".encode() + b"2,\xff\n", "damaged character"),
        (b"tag,species\n" + bytes(range(128, 256)) * 9 + b"\n", "encoding"),
    ],
)
def test_bad_files_get_one_sentence(read, content, says):
    with pytest.raises(Unreadable) as found:
        read(content)
    assert says in str(found.value)
    assert "list.csv" in str(found.value)


def test_an_endless_line_is_refused_before_it_is_all_read(tmp_path):
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.write(b"tag,species\n")
        file.truncate(200 << 20)
        file.seek(12)
        file.write(b"x" * (3 * MAX_LINE_BYTES))
    with pytest.raises(Unreadable, match="line longer than 1 MB"):
        read_csv(path)


def test_a_quote_that_is_never_closed_does_not_swallow_a_long_file(read):
    rows = "".join(f'{n},"Tilia"\n' for n in range(5_000))
    with pytest.raises(Unreadable, match="opens a quote in line 2"):
        read('tag,species\n0,"Tilia\n' + rows.replace('"', ""))
