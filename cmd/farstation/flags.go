package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"farstation/pipeline"
	"farstation/reports"
)

// flagAdder is the part of a flag set that options add themselves to.
type flagAdder = *pflag.FlagSet

// flagGroup is a heading of a command's help with the flags under it, in their order.
type flagGroup struct {
	title string
	flags *pflag.FlagSet
}

func newFlagGroup(title string, add func(flagAdder)) flagGroup {
	flags := pflag.NewFlagSet(title, pflag.ContinueOnError)
	flags.SortFlags = false
	add(flags)
	return flagGroup{title, flags}
}

// helpWidth is how wide a line of help becomes at most.
const helpWidth = 120

// useGroups gives a command the flags of the groups, and a help that keeps them apart.
func useGroups(cmd *cobra.Command, groups []flagGroup) {
	for _, group := range groups {
		cmd.Flags().AddFlagSet(group.flags)
	}
	cmd.SetUsageFunc(func(cmd *cobra.Command) error {
		// SetOut is also where help goes.
		return writeUsage(cmd.OutOrStdout(), cmd, groups)
	})
}

func writeUsage(out io.Writer, cmd *cobra.Command, groups []flagGroup) error {
	if _, err := fmt.Fprintf(out, "Usage:\n  %s\n", cmd.UseLine()); err != nil {
		return err
	}
	for _, group := range groups {
		if _, err := fmt.Fprintf(out, "\n%s:\n%s", group.title, group.flags.FlagUsagesWrapped(helpWidth)); err != nil {
			return err
		}
	}
	return nil
}

// addAirFlags adds the flags that say how light bends.
func addAirFlags(flags flagAdder, o *pipeline.Options) {
	flags.Float64Var(&o.K, "k", o.K, "refraction coefficient `K`: radius of the Earth / radius of the light ray; must be below 1; 0.13 and 1/7 are customary; a higher k shows more")
	flags.Float64Var(&o.KSD, "k-sd", o.KSD, "standard deviation `K` of k from one day to another; widens every chance and band")
	flags.StringVar(&o.Air, "air", o.Air, "`KIND` constant is k everywhere; standard is the k of the standard atmosphere, by the height of the ray (0.171 at the sea, 0.136 at 3,000 m); "+
		"anything else names a CSV with a sounding: columns height_m and temperature_c, and if need be pressure_hpa and dewpoint_c, whose k by height is taken")
	flags.Float64Var(&o.LowHeightM, "low-height-m", o.LowHeightM, "height `M` over sea or ground, in metres, up to which the air is low and has its own k; 0 switches that off")
	flags.Float64Var(&o.LowK, "low-k", o.LowK, "refraction coefficient `K` of low air")
	flags.Float64Var(&o.LowKSD, "low-k-sd", o.LowKSD, "standard deviation `K` of low-k; lines that run low get less certain")
}

// addHeightFlags adds the flags that say how far heights are trusted.
func addHeightFlags(flags flagAdder, o *pipeline.Options) {
	flags.Float64Var(&o.GuardM, "guard-m", o.GuardM, "ground within `M` metres of either end does not obstruct: it is the ground that one stands on")
	flags.Float64Var(&o.HeightSDM, "height-sd-m", o.HeightSDM, "standard deviation `M` of all ground heights, in metres; 0 keeps the one of each source")
	flags.Float64Var(&o.TerrainSDM, "terrain-sd-m", o.TerrainSDM, "standard deviation `M` of all terrain, in metres; 0 takes 5 m, more on slopes and between wide posts")
	flags.Float64Var(&o.TerrainCorrelationM, "terrain-correlation-m", o.TerrainCorrelationM, "distance `M` in metres over which errors of the terrain go together; shorter makes more chances to be in the way")
	flags.Float64Var(&o.SeaLevelM, "sea-level-m", o.SeaLevelM, "height `M` of the sea over the geoid, in metres: the tide; 0 is mean sea level")
	flags.Float64Var(&o.SeaLevelSDM, "sea-level-sd-m", o.SeaLevelSDM, "standard deviation `M` of that, in metres")
	flags.BoolVar(&o.AsListed, "as-listed", o.AsListed, "take places and heights exactly as the gazetteer has them, unchecked against the terrain")
}

func addFeetFlag(flags flagAdder, feet *bool) {
	flags.BoolVar(feet, "feet", false, "feet beside every number of metres in texts; figures, tables and files keep metres")
}

// inUnits is a text as it is, or with feet beside its metres.
func inUnits(text string, feet bool) string {
	if feet {
		return reports.WithFeet(text)
	}
	return text
}

const terrainUsage = "elevation `PATH`: a file, or a folder of them, searched downwards (.hgt, GeoTIFF, DTED, also .gz and .zip); repeatable, the first " +
	"named wins, and the next fill its voids; may end in ,datum=egm96, egm2008 or ellipsoid (what heights are counted from; else what the file states), " +
	",geoid=FILE (a grid of EGM2008, GTX or PGM, for heights over it), ,surface=ground or top (tree tops and roofs), ,licence=TEXT and ,attribution=TEXT"

const cacheUsage = "folder `DIR` in which terrain is kept as it is worked with, for this run and later ones: tiles are not decoded again, nor read as a whole when " +
	"memory is short; it may be shared by runs and deleted at any time; changes no result"

const featuresUsage = "gazetteer extract `FILE`, told by content, also inside .zip, .gz or .bz2; repeatable, the same summit or mast in several becomes " +
	"one; may end in ,licence=TEXT and ,attribution=TEXT where the file's own differ from its format's usual ones or are not known"
