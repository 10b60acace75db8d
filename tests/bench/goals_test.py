"""The table of goals: what a figure counts as, and that what was not measured is said to be."""
import unittest

import goals


def rows(*lines):
    return {line[:50].strip(): line[50:].split("  ") for line in goals.table(lines)}


def growth(orders, **figures):
    usual = {"same_load": 50_000, "last_of_first": 0.9, "start_s": 1, "of_protobuf": 1.5, "score_us.rest": 200,
             "score_us.busy": 200, "rank_us.rest": 600, "rank_us.busy": 600, "memory_mib": 900}
    usual.update(figures)
    return [f"growth.{orders}.2000.{what} {value}" for what, value in usual.items()]


class Goals(unittest.TestCase):
    def test_a_goal_is_met_by_all_rounds_by_the_median_or_missed(self):
        for values, expected in (([0.5, 0.4], "met"), ([0.3, 0.4, 0.5], "met by the median"),
                                 ([0.5, 0.3, 0.3], "missed")):
            row = rows(*(f"intake.of_rocksdb {value}" for value in values))
            self.assertEqual(row["times RocksDB's own synced batches"][-1].split(" at least 0.4")[-1].strip(),
                             expected)

    def test_a_goal_of_at_most_is_missed_by_more(self):
        for value, expected in ((1.5, "met"), (1.6, "missed")):
            self.assertTrue(rows(f"event.p50 {value}")["one event, fdatasyncs, median"][-1].endswith(expected))

    def test_what_was_not_measured_is_said_to_be_and_has_no_verdict(self):
        for line in list(goals.table([]))[1:]:
            self.assertIn("not measured", line)
            self.assertNotRegex(line, r"\bmet\b|missed")

    def test_growth_compares_the_largest_with_each_of_the_smallest(self):
        table = rows(*growth(1_000_000), *growth(1_000_000, same_load=40_000), *growth(50_000_000, same_load=36_000))
        row = " ".join(table["growth, % slower: intake, the same load"])
        self.assertIn("10.00 to 28.00", row)
        self.assertIn(" 2 ", row)

    def test_growth_of_one_size_tells_no_difference(self):
        table = rows(*growth(1_000_000))
        self.assertIn("not measured", " ".join(table["growth, % slower: intake, the same load"]))
        self.assertIn("10.00", " ".join(table["last tenth of the largest beside its first"]))

    def test_memory_is_told_by_the_run_with_many_pairs(self):
        row = rows("growth.2000000.100000.memory_mib 1600", *growth(1_000_000))
        self.assertTrue(row["memory with 100,000 pairs, MiB"][-1].endswith("missed"))


if __name__ == "__main__":
    unittest.main()
