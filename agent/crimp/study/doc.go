// Package study simulates what a shop pays for each good piece under different
// ways of correcting the setting. The metal, the cage and the caliper are
// simulated; judging, estimating, learning and advising are those of package
// crimp. The agent does not import it: its tests write RESULTS.md, study.csv
// and study.svg, and hold the claims that are made there.
package study
