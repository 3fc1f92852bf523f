package words

import "testing"

func TestCatalogueIsRead(t *testing.T) {
	if n := len(all().phrases); n < 300 {
		t.Errorf("%d phrases", n)
	}
}
