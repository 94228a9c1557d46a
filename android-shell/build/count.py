"""Counts the test reports and prints "N passed, M failed" as its last line. Arguments: the reports' folder, Maven's exit status."""

import pathlib
import sys
import xml.etree.ElementTree as tree

folder, status = pathlib.Path(sys.argv[1]), int(sys.argv[2])
passed = failed = skipped = 0
for report in sorted(folder.glob("*/TEST-*.xml")):
    for case in tree.parse(report).getroot().iter("testcase"):
        if case.find("failure") is not None or case.find("error") is not None:
            failed += 1
            print(f"FAILED  {report.parent.name} {case.get('classname')} {case.get('name')}")
        elif case.find("skipped") is not None:
            skipped += 1
        else:
            passed += 1
# A build that broke, or a test program that died, is a failure whatever was counted before.
if status != 0 and failed == 0:
    failed = 1
print(f"{passed} passed, {failed} failed" + (f", {skipped} skipped" if skipped else ""))
sys.exit(0 if failed == 0 and passed > 0 else 1)
