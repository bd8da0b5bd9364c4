package cli

import (
	"strings"

	"github.com/spf13/cobra"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (a *App) permitObserve() *cobra.Command {
	w := &recordv1.StandWatch{Duty: recordv1.Duty_DUTY_OBSERVER}
	var contact string
	c := &cobra.Command{Use: "observe JOB", Short: "Record that you stand watch outside, for people in a bin", Args: args(1, 1),
		Long:    "Be at your station first, outside, in touch with the people inside, and with no\nother task. Before you leave, another observer takes over, or everybody comes out:\nthe moment you leave, the permit is suspended.",
		Example: "  yardhasp permit observe crust-3 --station \"roof door of bin 3\" --contact sight --equipped --rescue-trained"}
	f := c.Flags()
	f.StringVar(&w.Station, "station", "", "where you stand, in words")
	f.StringVar(&contact, "contact", "", "how you keep in touch: sight, voice, signal-line")
	f.BoolVar(&w.Equipped, "equipped", false, "you have at hand what it takes to help")
	f.BoolVar(&w.RescueTrained, "rescue-trained", false, "you are trained in rescue, and know how to call for help")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "station", "contact"); err != nil {
			return err
		}
		n, err := pick(c, "contact", "CONTACT_", contact, recordv1.Contact_value)
		if err != nil {
			return err
		}
		w.Job, w.Contact = args[0], recordv1.Contact(n)
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_StandWatch{StandWatch: w}})
	}
	return c
}

func (a *App) permitFireWatch() *cobra.Command {
	w := &recordv1.StandWatch{Duty: recordv1.Duty_DUTY_FIRE_WATCH}
	c := &cobra.Command{Use: "fire-watch JOB", Short: "Record that you stand fire watch", Args: args(1, 1),
		Long:    "The watch goes on for an hour after the last flame or spark.",
		Example: "  yardhasp permit fire-watch boot-7 --station \"below the boot door\" --equipped"}
	c.Flags().StringVar(&w.Station, "station", "", "where you stand, in words")
	c.Flags().BoolVar(&w.Equipped, "equipped", false, "you have at hand what it takes to put a fire out")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "station"); err != nil {
			return err
		}
		w.Job = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_StandWatch{StandWatch: w}})
	}
	return c
}

func (a *App) permitLeave() *cobra.Command {
	return a.onRef("leave-watch WATCH", "Record that a watch is not stood any more", "Names the watch by its record, yard/epoch/number, as its receipt and the permit show\nit. Anybody may record it. Without another watcher the permit is suspended.",
		"  yardhasp permit leave-watch eastfork/1/88", func(r *recordv1.JournalRef) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_LeaveWatch{LeaveWatch: &recordv1.LeaveWatch{Watch: refOf(r)}}}
		})
}

func (a *App) fumigationCmd() *cobra.Command {
	f := &recordv1.FumigationRecorded{Fumigant: recordv1.AirAgent_AIR_AGENT_PHOSPHINE}
	var until string
	var other bool
	record := &cobra.Command{Use: "record PLACE", Short: "Record that a place is under a fumigant", Args: args(1, 1),
		Long:    "The place, and every zone joined to it by grain, air or a chemical line on the\ndrawings, is a source of fumigant until it is cleared. Name what is joined to it and\nnot drawn with --connected.",
		Example: "  yardhasp fumigation record eastfork/bin-4 --placard \"on both doors\"\n  yardhasp fumigation record eastfork/bin-4 --connected eastfork/boot-pit --until 2026-09-25"}
	fl := record.Flags()
	fl.StringVar(&until, "until", "", "the planned end, a day or a time; passing it clears nothing")
	fl.StringSliceVar(&f.Connected, "connected", nil, "`place` joined to it and not drawn so, as yard/zone or yard/node")
	fl.StringVar(&f.Placard, "placard", "", "where the placards hang, in words")
	fl.BoolVar(&other, "not-phosphine", false, "the fumigant is another one: no limit of it is known here")
	record.RunE = func(c *cobra.Command, args []string) error {
		if until != "" {
			ms, err := dateArg(c, "until", until)
			if err != nil {
				return err
			}
			f.UntilUnixMs = ms
		}
		if other {
			f.Fumigant = 0
		}
		f.Place = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_FumigationRecorded{FumigationRecorded: f}})
	}
	l := &recordv1.FumigationCleared{}
	var highest string
	cleared := &cobra.Command{Use: "cleared FUMIGATION", Short: "Record that a place was aired, tested and cleared", Args: args(1, 1),
		Long:    "Names the fumigation by its record, yard/epoch/number. The value is the highest that\nwas read anywhere in the place.",
		Example: "  yardhasp fumigation cleared eastfork/1/70 --highest 0.1 --instrument gas-2 --proved-before --proved-after \\\n    --applicator \"the certified applicator, by their log\""}
	fl = cleared.Flags()
	fl.StringVar(&highest, "highest", "", "highest value read, `ppm`")
	fl.StringVar(&l.Instrument, "instrument", "", "`name` of the instrument")
	fl.BoolVar(&l.ProvedBefore, "proved-before", false, "the instrument was proved on a known gas before")
	fl.BoolVar(&l.ProvedAfter, "proved-after", false, "and after")
	fl.StringVar(&l.Applicator, "applicator", "", "who cleared it and on what, in words")
	cleared.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "highest", "instrument", "applicator"); err != nil {
			return err
		}
		if _, err := refArg(c, args[0]); err != nil {
			return err
		}
		n, err := thousandths(c, "highest", highest)
		if err != nil {
			return err
		}
		l.Fumigation, l.Thousandths = args[0], n
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_FumigationCleared{FumigationCleared: l}})
	}
	return a.group("fumigation", "Places under a fumigant: record, cleared", "", record, cleared)
}

// airFlags are the flags of a test of the air: "yardhasp reading JOB ZONE --kind air".
type airFlags struct {
	level, oxygen, gas string
	toxic              []string
}

func (f *airFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.level, "level", "", "air: where it was tested: top, middle, bottom, work")
	c.Flags().StringVar(&f.oxygen, "oxygen", "", "air: oxygen, `per cent`")
	c.Flags().StringVar(&f.gas, "combustible-gas", "", "air: combustible gas, `per cent` of the lower flammable limit")
	c.Flags().StringSliceVar(&f.toxic, "toxic", nil, "air: `AGENT=PPM`, with carbon-monoxide, carbon-dioxide, hydrogen-sulfide, nitrogen-dioxide, phosphine")
}

func (f *airFlags) given(c *cobra.Command) string {
	for _, n := range []string{"level", "oxygen", "combustible-gas", "toxic"} {
		if c.Flags().Changed(n) {
			return n
		}
	}
	return ""
}

// record makes the record. r holds the flags that every reading has.
func (f *airFlags) record(c *cobra.Command, r *recordv1.Reading, job, zone string) (*recordv1.Record, error) {
	if err := need(c, "level", "instrument"); err != nil {
		return nil, err
	}
	for _, n := range []string{"value", "medium", "moved", "phase-to-phase", "phase-to-ground"} {
		if c.Flags().Changed(n) {
			return nil, usage(c, "--%s does not go with --kind air: use --oxygen, --combustible-gas and --toxic", n)
		}
	}
	level, err := pick(c, "level", "AIR_LEVEL_", f.level, recordv1.AirLevel_value)
	if err != nil {
		return nil, err
	}
	air := &recordv1.AirReading{Job: job, Zone: zone, Level: recordv1.AirLevel(level), Instrument: r.GetInstrument(), ProvedBefore: r.GetProvedBefore(), ProvedAfter: r.GetProvedAfter()}
	add := func(flag string, agent recordv1.AirAgent, value string) error {
		n, err := thousandths(c, flag, value)
		air.Values = append(air.Values, &recordv1.AirValue{Agent: agent, Thousandths: n})
		return err
	}
	if c.Flags().Changed("oxygen") {
		if err := add("oxygen", recordv1.AirAgent_AIR_AGENT_OXYGEN, f.oxygen); err != nil {
			return nil, err
		}
	}
	if c.Flags().Changed("combustible-gas") {
		if err := add("combustible-gas", recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS, f.gas); err != nil {
			return nil, err
		}
	}
	for _, w := range f.toxic {
		name, ppm, ok := strings.Cut(w, "=")
		agent, err := pick(c, "toxic", "AIR_AGENT_", name, recordv1.AirAgent_value)
		if err != nil {
			return nil, err
		}
		if !ok || agent <= int32(recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS) {
			return nil, usage(c, "--toxic %q is not AGENT=PPM", w)
		}
		if err := add("toxic", recordv1.AirAgent(agent), ppm); err != nil {
			return nil, err
		}
	}
	if len(air.Values) == 0 {
		return nil, usage(c, "say what was read: --oxygen, --combustible-gas or --toxic")
	}
	return &recordv1.Record{Act: &recordv1.Record_AirReading{AirReading: air}}, nil
}
