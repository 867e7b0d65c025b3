package columnar

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
	"github.com/pierrec/lz4/v4"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// withoutLZ4 returns a file whose columns that LZ4 packs are unpacked; the file
// itself if there are none. The library must not see such columns: it never ends
// on damaged LZ4, and takes a buffer of zeros for the values of pages that pack
// to more than a third. What is unpacked stands behind what the file holds, so
// that all other columns keep their places. The footer has been verified.
func withoutLZ4(data, footer []byte, p *purse, meter *source.Meter) ([]byte, error) {
	var compact thrift.CompactProtocol
	var meta format.FileMetaData
	if err := thrift.Unmarshal(&compact, footer, &meta); err != nil {
		return nil, damaged("footer", err)
	}
	out := data
	for i := range meta.RowGroups {
		group := &meta.RowGroups[i]
		for k := range group.Columns {
			m := &group.Columns[k].MetaData
			if m.Codec != format.Lz4Raw || m.NumValues != group.NumRows { // lists are not read
				continue
			}
			if len(out) == len(data) {
				p.spend(int64(len(data)))
				out = bytes.Clone(data)
			}
			start, first := len(out), -1
			err := pages(data, m, group.NumRows, p, meter, func(h *format.PageHeader, levels, body []byte, packed bool) error {
				whole := body
				if packed {
					whole = make([]byte, int(h.UncompressedPageSize)-len(levels))
					if n, err := lz4.UncompressBlock(body, whole); err != nil || n != len(whole) {
						return fmt.Errorf("a page does not unpack to the %d bytes that it says", len(whole))
					}
				}
				h.CompressedPageSize, h.UncompressedPageSize, h.CRC = int32(len(levels)+len(whole)), int32(len(levels)+len(whole)), 0
				if !h.DictionaryPageHeader.Valid && first < 0 {
					first = len(out)
				}
				head, err := thrift.Marshal(&compact, h)
				if err != nil {
					return err
				}
				out = append(append(append(out, head...), levels...), whole...)
				return nil
			})
			if err != nil {
				return nil, damaged(fmt.Sprintf("column %d, row group %d", k+1, i+1), err)
			}
			if m.DictionaryPageOffset != 0 {
				m.DictionaryPageOffset = int64(start)
			}
			m.Codec, m.DataPageOffset, m.TotalCompressedSize = format.Uncompressed, int64(max(first, start)), int64(len(out)-start)
		}
	}
	if len(out) == len(data) {
		return data, nil
	}
	head, err := thrift.Marshal(&compact, &meta)
	if err != nil {
		return nil, damaged("footer", err)
	}
	out = binary.LittleEndian.AppendUint32(append(out, head...), uint32(len(head)))
	return append(out, "PAR1"...), nil
}
