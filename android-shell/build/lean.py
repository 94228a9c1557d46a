"""Joins the app's classes with what they use of Kotlin's standard library, without what only kotlin-reflect reads.

Two things are left out. Classes of the standard library that no class of the app, and none that those use, names: neither in its
code, its signatures nor in any text (so that one that is asked for by a name written somewhere stays). And the annotation
kotlin.Metadata: neither the app, the standard library nor JNA asks for it. JNA stays whole, its native half looks classes up by name.
Class files are read as the Java Virtual Machine Specification has them (4.1 to 4.7.16).
Arguments: the jar to write, the app's jar, JNA's jar, the standard library's jar.
"""

import re
import struct
import sys
import zipfile

# Bytes after the tag of each kind of constant (JVMS 4.4); a long or double takes two places.
SIZES = {3: 4, 4: 4, 5: 8, 6: 8, 7: 2, 8: 2, 9: 4, 10: 4, 11: 4, 12: 4, 15: 3, 16: 2, 17: 4, 18: 4, 19: 2, 20: 2}
METADATA = b"Lkotlin/Metadata;"
NAMED = re.compile(rb"[\w$/]+")


def constants(data):
    """The texts of the constant pool by their place, and where it ends."""
    count, at, place, texts = struct.unpack_from(">H", data, 8)[0], 10, 1, {}
    while place < count:
        tag = data[at]
        if tag == 1:
            length = struct.unpack_from(">H", data, at + 1)[0]
            texts[place] = data[at + 3 : at + 3 + length]
            at += 3 + length
        else:
            at += 1 + SIZES[tag]
        place += 2 if tag in (5, 6) else 1
    return texts, at


def attributes(data, at):
    """Where each attribute of a list begins and ends, and where the list ends."""
    count, at, found = struct.unpack_from(">H", data, at)[0], at + 2, []
    for _ in range(count):
        end = at + 6 + struct.unpack_from(">I", data, at + 2)[0]
        found.append((at, end))
        at = end
    return found, at


def element_end(data, at):
    """The end of an annotation's value (JVMS 4.7.16.1)."""
    tag = data[at : at + 1]
    if tag == b"e":
        return at + 5
    if tag == b"@":
        return annotation_end(data, at + 1)
    if tag == b"[":
        count, at = struct.unpack_from(">H", data, at + 1)[0], at + 3
        for _ in range(count):
            at = element_end(data, at)
        return at
    return at + 3


def annotation_end(data, at):
    count, at = struct.unpack_from(">H", data, at + 2)[0], at + 4
    for _ in range(count):
        at = element_end(data, at + 2)
    return at


def lean(data):
    """The class without the annotation."""
    texts, at = constants(data)
    at += 6
    at += 2 + 2 * struct.unpack_from(">H", data, at)[0]
    for _ in range(2):  # fields, methods
        count, at = struct.unpack_from(">H", data, at)[0], at + 2
        for _ in range(count):
            at = attributes(data, at + 6)[1]
    head, kept = data[:at], []
    found, end = attributes(data, at)
    assert end == len(data), "a class file that is not understood"
    for start, stop in found:
        whole = data[start:stop]
        if texts[struct.unpack_from(">H", whole)[0]] == b"RuntimeVisibleAnnotations":
            count, inner, others = struct.unpack_from(">H", whole, 6)[0], 8, []
            for _ in range(count):
                stop = annotation_end(whole, inner)
                if texts[struct.unpack_from(">H", whole, inner)[0]] != METADATA:
                    others.append(whole[inner:stop])
                inner = stop
            body = struct.pack(">H", len(others)) + b"".join(others)
            whole = whole[:2] + struct.pack(">I", len(body)) + body if others else b""
        if whole:
            kept.append(whole)
    return head + struct.pack(">H", len(kept)) + b"".join(kept)


def classes(path):
    with zipfile.ZipFile(path) as jar:
        return {
            name.removesuffix(".class").encode(): jar.read(name)
            for name in jar.namelist()
            if name.endswith(".class") and not name.startswith("META-INF/") and name != "module-info.class"
        }


def main(target, app, jna, library):
    kept = {name: lean(data) for jar in (app, jna) for name, data in classes(jar).items()}
    whole = classes(library)
    left = list(kept.values())
    while left:
        for text in constants(left.pop())[0].values():
            # A class's own name, a descriptor or signature with names in it, or a name with dots as Class.forName takes it.
            for name in NAMED.findall(text.replace(b".", b"/")):
                name = name if name in whole else name.removeprefix(b"L")
                if name in whole and name not in kept:
                    kept[name] = lean(whole[name])
                    left.append(kept[name])
    with zipfile.ZipFile(target, "w") as new:
        for name in sorted(kept):
            new.writestr(zipfile.ZipInfo(name.decode() + ".class", (1980, 1, 1, 0, 0, 0)), kept[name])
    print(f"{len(kept.keys() & whole.keys())} of {len(whole)} classes of the standard library are used")


main(*sys.argv[1:])
