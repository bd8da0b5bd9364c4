package cli

import (
	"context"
	"errors"
	"slices"
	"strings"

	"yardhasp/client"
)

// withZones adds, to an error about a zone that is not drawn, which zones exist.
func withZones(err error, zone string, zones []string) error {
	if err == nil || slices.Contains(zones, zone) {
		return err
	}
	if len(zones) == 0 {
		return &hinted{err, []string{"no drawing has a zone: publish one with \"yardhasp drawing publish\""}}
	}
	zones = slices.Sorted(slices.Values(zones))
	return &hinted{err, []string{"the zones are: " + strings.Join(zones, ", ")}}
}

// askedZone does the same for an answer of a yard: it asks the yard for the zones.
func askedZone(ctx context.Context, cl *client.Client, err error, zone string) error {
	var answer *client.Answer
	if !errors.As(err, &answer) {
		return err
	}
	now, nerr := cl.EnergyNow(ctx, "")
	if nerr != nil {
		return err // the first error says more
	}
	var zones []string
	for _, z := range now.GetZones() {
		zones = append(zones, z.GetZone())
	}
	return withZones(err, zone, zones)
}
