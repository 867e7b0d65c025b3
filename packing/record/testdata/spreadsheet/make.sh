#!/bin/sh
# make.sh makes the files of this folder with LibreOffice Calc. The sheet is
# invented and written below; its cells show fewer digits than they hold.
#
# The options of the export filter are those of its dialog, by number: separator,
# quote, encoding (76 UTF-8, 1 Windows-1252, 65535 UTF-16), first line, formats,
# language, quote all text cells, numbers as numbers, cell content as shown.
set -eu
cd "$(dirname "$0")"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# A flat document holds values, formats and the language of the columns.
document() { # language country
	cat <<END
<?xml version="1.0" encoding="UTF-8"?>
<office:document xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" xmlns:number="urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0" office:version="1.2" office:mimetype="application/vnd.oasis.opendocument.spreadsheet">
<office:automatic-styles>
<number:number-style style:name="N2" number:language="$1" number:country="$2"><number:number number:decimal-places="2" number:min-decimal-places="2" number:min-integer-digits="1"/></number:number-style>
<number:number-style style:name="NT" number:language="$1" number:country="$2"><number:number number:decimal-places="1" number:min-decimal-places="1" number:min-integer-digits="1" number:grouping="true"/></number:number-style>
<style:style style:name="two" style:family="table-cell" style:data-style-name="N2"/>
<style:style style:name="thousands" style:family="table-cell" style:data-style-name="NT"/>
</office:automatic-styles>
<office:body><office:spreadsheet><table:table table:name="Run">
$(text "Invented run of column 04, 21 °C"; row_end)
$(row_end)
$(text "Time (min)"; text "UV 280 nm (mAU)"; text "Temperature (°C)"; text "Remark"; row_end)
$(number two 0; number thousands 2.5; number two 20.125; text "load; slow, by hand"; row_end)
$(number two 0.125; number thousands 1299.75; number two 20.25; text ""; row_end)
$(number two 0.25; number thousands 12345.5; number two -0.375; text "wash"; row_end)
$(number two 10.5; number thousands 3; number two 21; text ""; row_end)
</table:table></office:spreadsheet></office:body></office:document>
END
}
text() { printf '<table:table-cell office:value-type="string"><text:p>%s</text:p></table:table-cell>' "$1"; }
number() { printf '<table:table-cell table:style-name="%s" office:value-type="float" office:value="%s"/>' "$1" "$2"; }
row_end() { printf '\n'; }

# A row is a line of cells.
rows() { sed 's,^\(<table:table-cell.*\)$,<table:table-row>\1</table:table-row>,; s,^$,<table:table-row><table:table-cell/></table:table-row>,'; }
document en US | rows >"$work/en.fods"
document de DE | rows >"$work/de.fods"

convert() { # document, name, filter
	soffice --headless "-env:UserInstallation=file://$work/profile" --convert-to "$3" --outdir "$work/out" "$work/$1.fods" >"$work/log" 2>&1
	mv "$work/out/$1.${2##*.}" "$2"
}
csv='csv:Text - txt - csv (StarCalc)'
#                                    separator,quote,encoding,line,formats,language,quote texts,numbers as numbers,as shown
convert en utf8_comma_raw.csv        "$csv:44,34,76,1,,0,false,true,false"
convert en utf8_comma_shown.csv      "$csv:44,34,76,1,,0,false,true,true"
convert en utf8_tab_shown.csv        "$csv:9,34,76,1,,0,false,true,true"
convert en utf8_texts_quoted.csv     "$csv:44,34,76,1,,0,true,true,true"
convert en utf8_bar_raw.csv          "$csv:124,34,76,1,,0,true,true,false"
convert en utf16_tab_raw.csv         "$csv:9,34,65535,1,,0,false,true,false"
convert de utf8_semicolon_shown.csv  "$csv:59,34,76,1,,0,false,true,true"
convert de windows1252_semicolon.csv "$csv:59,34,1,1,,0,true,true,false"
convert de utf8_comma_comma.csv      "$csv:44,34,76,1,,0,false,true,true"
convert de workbook.xlsx             "xlsx:Calc MS Excel 2007 XML"
