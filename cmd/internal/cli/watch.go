package cli

import (
	"context"

	"holdproof/cmd/internal/surgery"
)

func watchFolders(ctx context.Context, w World, r *surgery.Records, folders []string) error {
	return nil
}
