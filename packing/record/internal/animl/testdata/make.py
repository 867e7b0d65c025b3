# Makes pulse.animl: invented numbers, packed by numpy. python make.py
import base64

import numpy as np


def packed(values, kind):
    return base64.b64encode(np.array(values, kind).tobytes()).decode()


open("pulse.animl", "w", encoding="utf-8").write(f"""<?xml version="1.0" encoding="UTF-8"?>
<AnIML xmlns="urn:org:astm:animl:schema:core:draft:0.90" version="0.90">
 <SampleSet><Sample name="tracer" sampleID="s1"/></SampleSet>
 <ExperimentStepSet><ExperimentStep name="pulse &lt;1&gt;" experimentStepID="e1">
  <Method><Category name="Flow"><Parameter name="flow" parameterType="Float64"><D>21.5</D><Unit label="L/h" quantity="flow"/></Parameter></Category></Method>
  <Result name="r">
   <SeriesSet name="detector" length="4">
    <Series name="Time" seriesID="t" dependency="independent" seriesType="Float64" plotScale="linear">
     <AutoIncrementedValueSet startIndex="0" endIndex="3"><StartValue><D>10</D></StartValue><Increment><D>0.5</D></Increment></AutoIncrementedValueSet>
     <Unit label="s" quantity="time"/></Series>
    <Series name="UV" seriesID="uv" dependency="dependent" seriesType="Float32">
     <EncodedValueSet startIndex="0" endIndex="3">
      {packed([0, 0.1, -2.5, 1e30], "<f4")}
     </EncodedValueSet><Unit label="mAU"/></Series>
    <Series name="Cond" seriesID="c" dependency="dependent" seriesType="Float64">
     <EncodedValueSet startIndex="0" endIndex="1">{packed([1 / 3, 2], "<f8")}</EncodedValueSet>
     <IndividualValueSet startIndex="3" endIndex="3"><D>4.25</D></IndividualValueSet><Unit label="mS/cm"/></Series>
    <Series name="count" seriesID="n" dependency="dependent" seriesType="Int64">
     <EncodedValueSet>{packed([1, -2, 2**40, 0], "<i8")}</EncodedValueSet></Series>
    <Series name="small" seriesID="i" dependency="dependent" seriesType="Int32">
     <EncodedValueSet>{packed([1, -2, 2**30, 0], "<i4")}</EncodedValueSet></Series>
   </SeriesSet>
   <SeriesSet name="log" length="2">
    <Series name="note" seriesID="x" dependency="dependent" seriesType="String"><IndividualValueSet><S>start &amp; go</S><S/></IndividualValueSet></Series>
    <Series name="at" seriesID="y" dependency="independent" seriesType="DateTime"><IndividualValueSet><DateTime>2024-03-01T08:30:00+01:00</DateTime><DateTime>2024-03-01T07:30:01.5</DateTime></IndividualValueSet></Series>
    <Series name="open" seriesID="z" dependency="dependent" seriesType="Boolean"><IndividualValueSet><Boolean>true</Boolean><Boolean>0</Boolean></IndividualValueSet></Series>
   </SeriesSet>
  </Result>
 </ExperimentStep></ExperimentStepSet>
</AnIML>
""")
