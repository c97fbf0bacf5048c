#!/usr/bin/env python3
"""Lists the string literals of src that a user can see, as file:line and text, for somebody to read.

Leaves out tests, attributes, the texts of `expect` and assertions, and literals without two letters in a row and a space or
capital. Doc comments of the command line (clap) are help, so they are listed too.
    python3 tests/strings.py [FOLDER]"""
import pathlib
import re
import sys

LITERAL = re.compile(r'r#"(?P<raw>.*?)"#|"(?P<text>(?:\\.|[^"\\])*)"|\'(?:\\.|[^\'\\])\'|//[^\n]*|/\*.*?\*/', re.S)
HIDDEN = re.compile(r'(expect|assert\w*|panic|unreachable|todo)!?\(\s*(?:[^"]*,\s*)?$')


def visible(text):
    return re.search(r"[A-Za-z]{2}", text) and (" " in text.strip() or re.match(r"[A-Z][a-z]", text))


def without_tests(source):
    at = re.search(r"\n#\[cfg\(test\)\]\nmod \w+ \{", source)
    return source[: at.start()] if at else source


def main():
    root = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else "src")
    for path in sorted(root.rglob("*.rs")):
        if "tests" in path.parts or path.stem == "tests":
            continue
        source = without_tests(path.read_text())
        for match in LITERAL.finditer(source):
            line = source.count("\n", 0, match.start()) + 1
            if match.group(0).startswith("///") and "cli/args" in str(path):
                print(f"{path}:{line}: {match.group(0)[3:].strip()}")
            text = match.group("raw") or match.group("text")
            before = source[max(0, match.start() - 80) : match.start()]
            if not text or HIDDEN.search(before) or re.search(r"#!?\[[^\]]*$", before):
                continue
            text = re.sub(r"\\\n\s*", "", text)
            if visible(text) and not text.lstrip().startswith("<"):
                print(f"{path}:{line}: {text}")


main()
