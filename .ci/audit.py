"""Ask whether a locked version is known to be vulnerable; fail where a fixed version exists.

    python .ci/audit.py PIP_AUDIT REQUIREMENTS

Without a network, or where the index does not tell of vulnerabilities, that is said and passes.
"""

from __future__ import annotations

import json
import subprocess
import sys


def main(program: str, requirements: str) -> int:
    """The exit code: 1 where a version with a fix is known to be vulnerable."""
    command = [program, "--requirement", requirements, "--require-hashes", "--disable-pip"]
    asked = subprocess.run(
        [*command, "--format", "json", "--progress-spinner", "off"],
        capture_output=True,
        text=True,
        timeout=600,
    )
    try:
        told = json.loads(asked.stdout)["dependencies"]
    except (ValueError, LookupError):
        print(f"Not audited: {(asked.stderr.strip() or 'no answer').splitlines()[-1]}")
        return 0
    unknown = [one["name"] for one in told if "skip_reason" in one]
    found = [(one, flaw) for one in told for flaw in one.get("vulns", [])]
    for one, flaw in found:
        fixed = ", ".join(flaw["fix_versions"]) or "no version yet"
        print(f"{one['name']} {one['version']}: {flaw['id']}, fixed in {fixed}")
    print(f"{len(told) - len(unknown)} of {len(told)} locked versions audited, {len(found)} flaws.")
    if unknown:
        print("The index here knows nothing of the others' vulnerabilities; ask where it does.")
    return int(any(flaw["fix_versions"] for _, flaw in found))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2]))
