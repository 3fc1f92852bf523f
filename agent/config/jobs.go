package config

import (
	"fmt"
	"slices"
	"strconv"

	"benchtally/agent/crimp"
)

// mostAssemblies bounds the quantity of an order.
const mostAssemblies = 100_000

// mostLength bounds the overall length of an assembly.
const mostLength = 200_000 * crimp.Millimetre

// jobColumns are the columns of a file of job cards, the required ones first.
func jobColumns() []*column[crimp.Job] {
	end := func(i int) func(*crimp.Job) *crimp.End { return func(j *crimp.Job) *crimp.End { return &j.Ends[i] } }
	columns := []*column[crimp.Job]{
		{"order", true, "want the order's number, such as A-1001", orderID},
		{"quantity", true, "want how many assemblies are ordered", count(func(j *crimp.Job) *int { return &j.Quantity }, 1, mostAssemblies)},
		{"a_spec", true, "want the crimp specification of end A, by its id in the specs file", word(func(j *crimp.Job) *string { return &j.Ends[0].Spec })},
		{"b_spec", false, "", word(func(j *crimp.Job) *string { return &j.Ends[1].Spec })},
		{"reference", false, "", words(func(j *crimp.Job) *string { return &j.Reference })},
		{"hose", false, "", words(func(j *crimp.Job) *string { return &j.Hose.Name })},
		{"hose_maker", false, "", words(func(j *crimp.Job) *string { return &j.Hose.Maker })},
		{"hose_lot", false, "", words(func(j *crimp.Job) *string { return &j.Hose.Lot })},
	}
	for i, name := range []string{"a", "b"} {
		at := end(i)
		columns = append(columns,
			&column[crimp.Job]{name + "_fitting", false, "", words(func(j *crimp.Job) *string { return &at(j).Fitting.Name })},
			&column[crimp.Job]{name + "_maker", false, "", words(func(j *crimp.Job) *string { return &at(j).Fitting.Maker })},
			&column[crimp.Job]{name + "_lot", false, "", words(func(j *crimp.Job) *string { return &at(j).Fitting.Lot })},
			&column[crimp.Job]{name + "_cutoff", false, "", depth(func(j *crimp.Job) *crimp.Length { return &at(j).CutOff }, mostDepth)},
		)
	}
	return append(columns,
		&column[crimp.Job]{"length", false, "", depth(func(j *crimp.Job) *crimp.Length { return &j.Length }, mostLength)},
		&column[crimp.Job]{"length_plus", false, "", allowance(func(j *crimp.Job) *crimp.Length { return &j.Plus })},
		&column[crimp.Job]{"length_minus", false, "", allowance(func(j *crimp.Job) *crimp.Length { return &j.Minus })},
		&column[crimp.Job]{"angle", false, "", angle},
		&column[crimp.Job]{"working", false, "", pressure},
		&column[crimp.Job]{"note", false, "", words(func(j *crimp.Job) *string { return &j.Note })},
	)
}

// orderID takes the number of an order: it is scanned, and piece ids begin with it.
func orderID(j *crimp.Job, cell string) string {
	if len(cell) > 48 {
		return "want at most 48 bytes"
	}
	return word(func(j *crimp.Job) *string { return &j.Order })(j, cell)
}

// allowance takes how much longer or shorter an assembly may be; 0 is possible.
func allowance(at func(*crimp.Job) *crimp.Length) func(*crimp.Job, string) string {
	return func(j *crimp.Job, cell string) string {
		l, wrong := readLength(cell)
		switch {
		case wrong != "":
			return wrong
		case l < 0 || l > mostDepth:
			return fmt.Sprintf("want 0mm to %s, without a sign", mostDepth)
		}
		*at(j) = l
		return ""
	}
}

// angle takes the angle between the elbows of the two ends.
func angle(j *crimp.Job, cell string) string {
	n, err := strconv.ParseUint(cell, 10, 16)
	if err != nil || n > 359 {
		return "want whole degrees, 0 to 359"
	}
	degrees := int(n)
	j.Angle = &degrees
	return ""
}

// pressure takes the maximum working pressure.
func pressure(j *crimp.Job, cell string) string {
	p, err := crimp.ParsePressure(cell)
	if err != nil {
		return err.Error()
	}
	j.Working = p
	return ""
}

// parseJobs reads a whole file of job cards, like parseSpecs. The specifications
// that they name must be among specs; nil: that is not known.
func parseJobs(file string, data []byte, specs []crimp.Spec, seen map[string]string) ([]crimp.Job, Faults) {
	r := newSheet(file, data, jobColumns())
	r.check = func(j *crimp.Job, bad map[string]bool, line int) {
		for i, name := range []string{"a_spec", "b_spec"} {
			id := j.Ends[i].Spec
			if id != "" && specs != nil && !bad[name] && !slices.ContainsFunc(specs, func(s crimp.Spec) bool { return s.ID == id }) {
				r.fault(line, 0, name, id, "is in no specs file: write the id of a line there, or add it from the maker's current sheet")
			}
		}
		if (j.Plus > 0 || j.Minus > 0) && j.Length == 0 && !bad["length"] {
			r.fault(line, 0, "length", "", "is empty, and there is a tolerance to it: write the overall length as well")
		}
		if j.Length > 0 && j.Ends[0].CutOff+j.Ends[1].CutOff >= j.Length {
			r.fault(line, 0, "length", j.Length.String(), "the cut-off allowances of the two ends leave no hose")
		}
		r.once("order", j.Order, line, seen)
	}
	r.read()
	return r.rows, r.faults
}

// ReadJobs reads files of job cards, all or nothing: the error is of type Faults.
// None of the files need have a card in it.
func ReadJobs(files []string, specs []crimp.Spec) ([]crimp.Job, error) {
	var jobs []crimp.Job
	var faults Faults
	seen := map[string]string{}
	for _, file := range files {
		data, err := readFile(file, maxSpecs, true)
		if err != nil {
			faults = append(faults, Fault{File: file, Text: err.Error()})
			continue
		}
		some, wrong := parseJobs(file, data, specs, seen)
		jobs, faults = append(jobs, some...), append(faults, wrong...)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return jobs, nil
}

// readJobs reads the files of job cards named, each with all its faults. The
// specs are nil where not all are known.
func (l *loader) readJobs(read func(string) ([]byte, error), specs []crimp.Spec) {
	c, seen := l.c, map[string]string{}
	for _, e := range l.jobs {
		name := l.beside(e.value.(string))
		c.JobFiles = append(c.JobFiles, name)
		data, err := read(name)
		if err != nil {
			c.JobFaults = append(c.JobFaults, Fault{File: c.File, Line: e.line, Column: e.column, Key: e.key(), Value: e.written, Text: err.Error()})
			continue
		}
		jobs, faults := parseJobs(name, data, specs, seen)
		c.Jobs, c.JobFaults = append(c.Jobs, jobs...), append(c.JobFaults, faults...)
	}
	if len(c.JobFaults) > 0 {
		c.Jobs = nil
	}
}
